"""A desk under load from another process: ``python -P -m tests.load [--seconds S] [--clients N]``.

Serves the database of DATABASE_URL with gunicorn on 127.0.0.1 and asks as browsers, calendars and devices do;
prints answers a second, p50, p95 and p99 in milliseconds, and p50 over that of a bare view of that server.
It stores readings and devices: for measuring, not for a desk in use.
"""

import argparse
import http.client
import itertools
import json
import os
import sys
import tempfile
import threading
import time
import urllib.request
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from statistics import quantiles
from typing import Any

import django

from tests.servers import free_port, running

BARE = "a bare view"
# Asked one after the other: so many that hardly one is asked for twice within some seconds.
_FILTERS = 500
HOURS = 24
# Readings of one device lie so far apart that none is taken for another.
_A_BATCH_LATER_S = 7


@dataclass(frozen=True)
class Asked:
    """One request, and the answer that it must get."""

    address: str
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | None = None
    status: int = 200


@dataclass(frozen=True)
class Sort:
    """A sort of request, with what to ask one after the other."""

    name: str
    asked: Iterator[Asked]


@dataclass(frozen=True)
class Measured:
    """What a sort of request took, in milliseconds."""

    name: str
    a_second: float
    p50: float
    p95: float
    p99: float


def measured(name: str, taken_s: list[float], seconds: float) -> Measured:
    """The figures of answers that took so long, within so many seconds."""
    cuts = quantiles(taken_s if len(taken_s) > 1 else taken_s * 2, n=100, method="inclusive")
    return Measured(name, len(taken_s) / seconds, *(1000 * cuts[at - 1] for at in (50, 95, 99)))


def table(rows: list[Measured]) -> str:
    """A line a sort; the last column is its median over that of the bare view."""
    (bare,) = (row.p50 for row in rows if row.name == BARE)
    lines = [f"{'':34} {'a second':>9} {'p50 ms':>8} {'p95 ms':>8} {'p99 ms':>8} {'times bare':>10}"]
    lines += [
        f"{row.name:34} {row.a_second:9.1f} {row.p50:8.1f} {row.p95:8.1f} {row.p99:8.1f}"
        f" {row.p50 / bare:10.1f}"
        for row in rows
    ]
    return "\n".join(lines)


def ask(port: int, sort: Sort, clients: int, seconds: float) -> Measured:
    """Ask from so many threads, each over one connection. Raises AssertionError for another answer."""
    taken, faults, lock = [], [], threading.Lock()
    began = time.perf_counter()

    def client() -> None:
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        while time.perf_counter() - began < seconds and not faults:
            with lock:
                one = next(sort.asked)
            start = time.perf_counter()
            line.request("POST" if one.body else "GET", one.address, one.body, one.headers)
            answer = line.getresponse()
            answer.read()
            spent = time.perf_counter() - start
            with lock:
                taken.append(spent)
                if answer.status != one.status:
                    faults.append(f"{one.address}: {answer.status} instead of {one.status}")
        line.close()

    threads = [threading.Thread(target=client) for _n in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults, faults[0]
    return measured(sort.name, taken, time.perf_counter() - began)


class Desk:
    """What there is to ask for in the database at hand; ``leave`` takes back what it let in."""

    def __init__(self) -> None:
        from django.utils import timezone

        from equipment import devices
        from equipment.models import FilterSlot, SiteRole, User
        from schedules import feeds

        self.now = timezone.now()
        slots = FilterSlot.objects.in_use().order_by("pk")
        last = slots.values_list("pk", flat=True).last() or 0
        # Spread over the record by number, as skipping rows would read them all.
        spread = (
            slots.filter(pk__gte=last * n // _FILTERS).select_related("system__site__customer").first()
            for n in range(_FILTERS)
        )
        self.slots = [slot for slot in spread if slot is not None]
        users = User.objects.filter(is_active=True)
        self.manager = self._cookie(users.filter(role=User.Role.MANAGER)[0])
        lives = SiteRole.objects.filter(until=None)
        someone = users.filter(role=User.Role.HOMEOWNER, person__in=lives.values("person"))[0]
        self.household, self.home = self._cookie(someone), lives.filter(person=someone.person_id)[0].site_id
        site = self.slots[0].system.site
        self.feed = feeds.bring_up_to_date(feeds.feed_of(feeds.Owner(site, None)), self.now)
        # Several, so that no filter has more readings than a year brings.
        self.posting = [
            (slot, *devices.make(slot.system, "load", None, self.now)) for slot in self.slots[::20]
        ]

    def _cookie(self, user: Any) -> dict[str, str]:
        from django.conf import settings
        from django.test import Client

        client = Client()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        return {
            "Cookie": f"{settings.SESSION_COOKIE_NAME}={client.cookies[settings.SESSION_COOKIE_NAME].value}"
        }

    def leave(self) -> None:
        """Withdraw the devices; their readings stay."""
        from equipment import devices

        for _slot, device, _key in self.posting:
            devices.withdraw(device, self.now)

    def sorts(self) -> list[Sort]:
        """Everything that is asked."""
        from urllib.parse import quote

        from schedules import feeds

        def each(address: Callable[[Any], str]) -> Iterator[Asked]:
            return itertools.cycle([Asked(address(slot), self.manager) for slot in self.slots])

        def same(address: str, headers: dict[str, str], status: int = 200) -> Iterator[Asked]:
            return itertools.repeat(Asked(address, headers, status=status))

        calendar = "/" + feeds.address(self.feed).split("/", 3)[3]
        return [
            Sort(BARE, same("/bare/", {})),
            Sort("look-up by code", each(lambda slot: f"/find/?q={quote(slot.name)}")),
            Sort("look-up by name", each(lambda slot: f"/find/?q={quote(slot.system.site.customer.name)}")),
            Sort("look-up by size", each(lambda slot: f"/find/?q={quote(slot.nominal_size)}")),
            Sort("due list", same("/due/", self.manager)),
            Sort("a filter's page", each(lambda slot: f"/filters/{slot.pk}/")),
            Sort("a household's home", same(f"/sites/{self.home}/", self.household)),
            Sort("calendar, fresh", same(calendar, {})),
            Sort("calendar, 304", same(calendar, {"If-None-Match": self.feed.etag}, 304)),
            Sort(f"a device's {HOURS} hours", map(self._batch, itertools.count())),
        ]

    def _batch(self, number: int) -> Asked:
        at = [self.now - timedelta(hours=n + 1, seconds=_A_BATCH_LATER_S * number) for n in range(HOURS)]
        slot, _device, key = self.posting[number % len(self.posting)]
        rows = [{"taken_at": one.isoformat(), "filter_slot": slot.name, "filter_drop_pa": 40.0} for one in at]
        headers = {"Authorization": f"Bearer {key}", "Content-Type": "application/json"}
        return Asked("/api/v1/devices/batch", headers, json.dumps({"readings": rows}).encode())


def serving(port: int, folder: Path) -> Any:
    """Gunicorn with two workers of eight threads."""
    served = [sys.executable, "-P", "-m", "gunicorn", "servicedesk.wsgi:application"]
    how = ["--workers", "2", "--worker-class", "gthread", "--threads", "8", "--bind", f"127.0.0.1:{port}"]
    root = Path(__file__).resolve().parents[1]
    return running([*served, *how, "--chdir", str(root)], folder, lambda: _answers(port))


def _answers(port: int) -> bool:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/bare/", timeout=5) as answer:
            return bool(answer.status == 200)
    except OSError:
        return False


def main(arguments: list[str]) -> int:
    """Serve, ask, print."""
    parser = argparse.ArgumentParser(prog="tests.load", description=__doc__)
    parser.add_argument("--seconds", type=float, default=5.0, help="how long each sort is asked")
    parser.add_argument("--clients", type=int, default=4, help="how many ask at once")
    chosen = parser.parse_args(arguments)
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.load_settings"
    django.setup()
    desk, port = Desk(), free_port()
    try:
        with tempfile.TemporaryDirectory() as folder, serving(port, Path(folder)):
            for sort in desk.sorts():
                ask(port, sort, 1, min(1.0, chosen.seconds))  # what is read for the first time
            rows = [ask(port, sort, chosen.clients, chosen.seconds) for sort in desk.sorts()]
    finally:
        desk.leave()
    print(table(rows))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
