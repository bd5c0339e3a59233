"""The demo: sheets read as everybody's are, then technicians, tasks, accounts and a few visits."""

import csv
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from django.conf import settings
from django.db import transaction

from equipment.life import Happening, record_event
from equipment.models import Desk, LifeEvent, Person, Site, System, User
from equipment.sheets.importer import import_sheets
from fixtures.homes import LOOKED_INTO, VACANT, fleet
from fixtures.physics import VACANT_SINCE
from fixtures.scenario import ANCHOR, write_sheets
from schedules import due, reminders, routes, sending, tasks_due, visits
from schedules.look_back import look_back
from schedules.models import MaintenanceTask, Technician
from schedules.technicians_sheet import import_technicians
from servicedesk.demo_past import add_past
from shared import clock
from shared.units import TEMPERATURE, parse

COMMITTED = settings.BASE_DIR / "fixtures" / "demo"
# So long the committed sheets still look like a desk at work.
FRESH_DAYS = 14
FULL_DAY = 3
# After this hour nobody would set out on today's round any more.
LAST_HOUR_OF_TODAY = 11
_MORNING = 10
MANAGER, TECHNICIAN, HOMEOWNER = "demo-manager", "demo-technician", "demo-homeowner"


class NotLoadable(RuntimeError):
    """What stands in the demo's way, in plain words; nothing was stored."""


def in_use() -> bool:
    """Whether the desk has any home already."""
    return Site.objects.exists()


def load(now: datetime) -> str:
    """Store the whole demo, or nothing; what there is now, in a sentence. Raises NotLoadable."""
    directory = sheets_for(now.astimezone(UTC).date())
    with transaction.atomic():
        _name_desk(directory)
        _read_sheets(directory, now)
        _add_technicians(directory)
        _add_tasks(directory)
        _add_accounts()
        _note_vacancy(now)
        due.replan(now)
        look_back(now)
        today = due.today(now)
        tasks_due.refresh_all(today)
        add_past(today)
        booked = _book_visits(today, now)
        _write_letters(today)
    return f"The demo is loaded: {Site.objects.count()} homes, {booked} visits booked."


def sheets_for(today: date) -> Path:
    """The committed sheets while they are fresh, else sheets written anew up to yesterday."""
    if ANCHOR < today <= ANCHOR + timedelta(days=FRESH_DAYS):
        return COMMITTED
    directory = settings.VAR_DIR / "demo"
    write_sheets(directory, today - timedelta(days=1))
    return Path(directory)


def _rows(path: Path) -> Iterator[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(file)


def _name_desk(directory: Path) -> None:
    desk = Desk.the()
    for field, value in next(_rows(directory / "desk.csv")).items():
        setattr(desk, field, float(value) if field in ("latitude", "longitude") else value)
    desk.save()


def _read_sheets(directory: Path, now: datetime) -> None:
    report = import_sheets(directory, now)
    if report.faults:
        raise NotLoadable(f"{len(report.faults)} faults in the demo's sheets; the first: {report.faults[0]}")


def _add_technicians(directory: Path) -> None:
    report = import_technicians(directory / "technicians.csv")
    if report.faults:
        raise NotLoadable(f"{len(report.faults)} faults in technicians.csv; the first: {report.faults[0]}")


def _add_tasks(directory: Path) -> None:
    systems = {system.name: system for system in System.objects.all()}
    for row in _rows(directory / "tasks.csv"):
        days, hours, warm = row["interval_days"], row["interval_fan_hours"], row["least_outdoors_f"]
        MaintenanceTask.objects.update_or_create(
            system=systems[row["system"]],
            name=row["name"],
            defaults={
                "interval_days": int(days) if days else None,
                "interval_fan_hours": float(hours) if hours else None,
                "season": row["season"],
                "minutes": int(row["minutes"]),
                "skill": row["skill"],
                "checklist": row["checklist"].split(" | "),
                "last_done_on": date.fromisoformat(row["last_done_on"]),
                "least_outdoors_c": parse(warm, TEMPERATURE) if warm else None,
            },
        )


def _add_accounts() -> None:
    technician = Technician.objects.order_by("name")[0]
    technician.user = _account(TECHNICIAN, User.Role.TECHNICIAN, technician.name)
    technician.save(update_fields=["user"])
    manager = _account(MANAGER, User.Role.MANAGER, "Wilhelmina Tarnbeck")
    manager.is_staff = manager.is_superuser = True
    manager.save()
    home = fleet()[LOOKED_INTO].name
    person = Person.objects.get(roles__site__name=home, roles__role="filter_changer")
    homeowner = _account(HOMEOWNER, User.Role.HOMEOWNER, person.name)
    homeowner.person, homeowner.email = person, person.email
    homeowner.save()


def _account(username: str, role: str, name: str) -> User:
    """An account that nobody can enter with a password, only by a link."""
    first, last = name.split(" ", 1)
    fields = {"role": role, "first_name": first, "last_name": last, "email": f"{username}@example.org"}
    user, new = User.objects.update_or_create(username=username, defaults=fields)
    if new:
        user.set_unusable_password()
        user.save()
    return user


def _note_vacancy(now: datetime) -> None:
    site = Site.objects.get(name=fleet()[VACANT].name)
    if site.vacant_since is None and due.today(now) >= VACANT_SINCE:
        empty = Happening(LifeEvent.Kind.VACANT, VACANT_SINCE, note="The tenants left; heating kept low.")
        record_event(site, empty, None, now)


def _write_letters(today: date) -> None:
    """Letters as the last morning wrote them, kept to be read whatever hour the demo is begun at."""
    morning = clock.send_at(today - timedelta(days=1), Desk.the().zone, _MORNING)
    if reminders.write_due(morning):
        sent = morning
        while sending.send_one(sent):
            sent += timedelta(seconds=1)


def _book_visits(today: date, now: datetime) -> int:
    """The most urgent trips on two working days, from today while its morning lasts: one full day and a
    few others, put in order."""
    morning = clock.in_window(now, Desk.the().zone, 0, LAST_HOUR_OF_TODAY)
    first = clock.next_working_day(today if morning else today + timedelta(days=1))
    days = (first, clock.next_working_day(first + timedelta(days=1)))
    technicians = list(Technician.objects.order_by("name"))
    free = {(technician, day): 1 for day in days for technician in technicians}
    free[technicians[0], first] = FULL_DAY
    asks_for_morning = True
    booked = 0
    for offer in visits.offers(today):
        able = [
            (technician, day)
            for (technician, day), left in free.items()
            if left and set(offer.skills) <= set(technician.skills)
        ]
        if able and offer.site.placed:
            technician, day = able[0]
            free[technician, day] -= 1
            hours = (time(9), time(12)) if asks_for_morning else (None, None)
            asks_for_morning = False
            visits.book(visits.Booking(offer.site, offer.slots, offer.tasks, technician, day, *hours), now)
            booked += 1
    for technician, day in free:
        routes.order_day(technician, day, now)
    return booked
