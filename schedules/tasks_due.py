"""When a maintenance task is due: by days, by fan hours, by its season."""

from datetime import date, timedelta

from django.db.models import Sum

from equipment.models import RuntimeDay
from schedules.models import MaintenanceTask, TaskDone, Visit

# First month and day by which a task of a season should be done.
_SEASON_ENDS = {MaintenanceTask.Season.SPRING: (5, 15), MaintenanceTask.Season.AUTUMN: (10, 15)}
_USUAL_HOURS_A_DAY = 4.8


def due_day(task: MaintenanceTask, today: date) -> date:
    """The day by which ``task`` is due; ``today`` for one that was never done and has no season."""
    if task.last_done_on is None:
        return _into_season(task, today, today)
    days = []
    if task.interval_days:
        days.append(task.last_done_on + timedelta(days=task.interval_days))
    if task.interval_fan_hours:
        days.append(_when_hours_are_up(task, task.last_done_on, today))
    return _into_season(task, min(days), task.last_done_on + timedelta(days=1))


def _when_hours_are_up(task: MaintenanceTask, since: date, today: date) -> date:
    logged = RuntimeDay.objects.filter(system=task.system_id, day__gt=since, day__lte=today)
    ran = logged.aggregate(hours=Sum("fan_hours"))["hours"] or 0.0
    days = logged.count()
    # Days without a log run as the logged ones do.
    daily = ran / days if days else _USUAL_HOURS_A_DAY
    ran += daily * max(0, (today - since).days - days)
    left = (task.interval_fan_hours or 0.0) - ran
    return today + timedelta(days=round(left / max(daily, 0.1)))


def _into_season(task: MaintenanceTask, day: date, earliest: date) -> date:
    """The season's end nearest to ``day`` and not before ``earliest``."""
    ends = _SEASON_ENDS.get(MaintenanceTask.Season(task.season))
    if ends is None:
        return day
    choices = [date(year, *ends) for year in range(day.year - 1, day.year + 2)]
    return min(
        (choice for choice in choices if choice >= earliest), key=lambda choice: abs((choice - day).days)
    )


def refresh(task: MaintenanceTask, today: date) -> bool:
    """Store the task's due day anew; whether it changed."""
    due = due_day(task, today)
    if due == task.due_on:
        return False
    task.due_on = due
    MaintenanceTask.objects.filter(pk=task.pk).update(due_on=due)
    return True


def refresh_all(today: date) -> int:
    """Refresh every task in use; how many changed."""
    tasks = MaintenanceTask.objects.filter(ended_on=None).select_related("system")
    return sum(refresh(task, today) for task in tasks)


def mark_done(task: MaintenanceTask, on: date, visit: Visit | None, note: str, today: date) -> TaskDone:
    """Write down that ``task`` was done; twice on one day counts once."""
    done, _new = TaskDone.objects.get_or_create(
        task=task, done_on=on, defaults={"visit": visit, "note": note}
    )
    task.last_done_on = max(on, task.last_done_on or on)
    task.save(update_fields=["last_done_on"])
    refresh(task, today)
    return done
