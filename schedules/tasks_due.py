"""When a maintenance task is due: by days, by fan hours, by its season."""

from datetime import date, timedelta

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.fan_log import fan_log
from schedules.models import MaintenanceTask, TaskDone, Visit

# First month and day by which a task of a season should be done.
_SEASON_ENDS = {MaintenanceTask.Season.SPRING: (5, 15), MaintenanceTask.Season.AUTUMN: (10, 15)}
_USUAL_HOURS_A_DAY = 4.8
_DAYS_A_YEAR = 365


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
    logged = fan_log([task.system_id], today, since=since + timedelta(days=1))
    ran, days = float(logged.hours.sum()), len(logged.hours)
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


def agree(task: MaintenanceTask, checklist: str, today: date) -> MaintenanceTask:
    """Put an agreed task on record, its checklist a line a point, with its first due day."""
    task.checklist = [line.strip() for line in checklist.splitlines() if line.strip()]
    task.save()
    refresh(task, today)
    return task


def mark_done(task: MaintenanceTask, on: date, visit: Visit | None, note: str, today: date) -> TaskDone:
    """Write down that ``task`` was done; twice on one day counts once."""
    done, _new = TaskDone.objects.get_or_create(
        task=task, done_on=on, defaults={"visit": visit, "note": note}
    )
    task.last_done_on = max(on, task.last_done_on or on)
    task.save(update_fields=["last_done_on"])
    refresh(task, today)
    return done


def rhythm(task: MaintenanceTask) -> str:
    """How often the task comes back, as people say it: every 12 months or 400 fan hours."""
    time = _span(task.interval_days) if task.interval_days else ""
    hours = _fan_hours(task.interval_fan_hours) if task.interval_fan_hours else ""
    if time and hours:
        return _("every %(time)s or %(hours)s, whichever comes first") % {"time": time, "hours": hours}
    return _("every %(time)s") % {"time": time or hours}


def _span(days: int) -> str:
    """Months where the days are whole months of 30 days or of a twelfth of a year; else weeks or days."""
    months = round(days * 12 / _DAYS_A_YEAR)
    if months and (days == 30 * months or abs(days - months * _DAYS_A_YEAR / 12) <= 1):
        return _("month") if months == 1 else _("%(n)d months") % {"n": months}
    if days % 7 == 0:
        return _("week") if days == 7 else _("%(n)d weeks") % {"n": days // 7}
    return _("day") if days == 1 else _("%(n)d days") % {"n": days}


def _fan_hours(hours: float) -> str:
    count = round(hours)
    said = formats.number_format(count, force_grouping=True)
    return ngettext("%(n)s fan hour", "%(n)s fan hours", count) % {"n": said}
