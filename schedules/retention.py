"""What is kept of people, and for how long: the times are settings, and once a day what is older goes.

The building's record (changes, readings, visits, plans) is kept without end; whose words and faces went with
it is not.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db.models import Max, Q

from equipment.models import Person, RuntimeBefore, SiteRole, User, WeatherBefore
from schedules.erasure import erase, is_erased
from schedules.models import (
    Answer,
    DateBefore,
    FieldEntry,
    Notice,
    Photograph,
    Reply,
    RoundPlan,
    Rung,
    SeasonPlan,
)

_FINISHED = (Notice.State.SENT, Notice.State.NOT_SENT, Notice.State.FAILED)


def forget_old(now: datetime) -> dict[str, int]:
    """Take away what is older than its setting (nought: for ever); how many of each."""
    found = {}
    for name, forget in _KINDS.items():
        days = settings.KEEP_DAYS[name]
        found[name] = forget(now - timedelta(days=days), now) if days else 0
    call_command("clearsessions")
    return found


def _letters(before: datetime, now: datetime) -> int:
    """Letters lose their words and whom they went to; that one was sent stays, and what it promised."""
    rows = Notice.objects.filter(state__in=_FINISHED, send_at__lt=before)
    rows = rows.exclude(sent_to="", subject="", text="", html="", why="")
    return rows.update(sent_to="", subject="", text="", html="", why="")


def _answers(before: datetime, now: datetime) -> int:
    """What people answered loses their own words and names; what it meant stays."""
    told = Answer.objects.filter(at__lt=before).exclude(text="").update(text="")
    told += Reply.objects.filter(at__lt=before).exclude(sender="").update(sender="")
    return told + Rung.objects.filter(at__lt=before).exclude(note="").update(note="")


def _phone_entries(before: datetime, now: datetime) -> int:
    """What phones sent, word for word; what was taken of it stands in the record."""
    waits = FieldEntry.objects.waiting().values("pk")
    rows = FieldEntry.objects.filter(received_at__lt=before).exclude(fields={}).exclude(pk__in=waits)
    return rows.update(fields={})


def _photographs(before: datetime, now: datetime) -> int:
    """As if withdrawn: the row stays and the picture goes."""
    rows = Photograph.objects.filter(taken_at__lt=before, withdrawn_at=None)
    return rows.update(jpeg=b"", withdrawn_at=now)


def _plans_of_rounds(before: datetime, now: datetime) -> int:
    """Rounds and seasons as they were worked out once; visits stay, and the newest season's plan."""
    newest = SeasonPlan.objects.filter(trips__isnull=False).order_by("-pk").values_list("pk", flat=True)[:1]
    old = Q(ended_at__lt=before)
    seasons = SeasonPlan.objects.filter(old).exclude(pk__in=list(newest))
    rounds = RoundPlan.objects.filter(old)
    count = seasons.count() + rounds.count()
    seasons.delete()
    rounds.delete()
    return count


def _runtime_before(before: datetime, now: datetime) -> int:
    """What fan hours, weather and air were before they were written over."""
    gone = RuntimeBefore.objects.filter(at__lt=before).delete()[0]
    return gone + WeatherBefore.objects.filter(at__lt=before).delete()[0]


def _dates_before(before: datetime, now: datetime) -> int:
    """What dates were before they moved; those that a change ended stay (``KeptDate``)."""
    return DateBefore.objects.filter(until__lt=before).delete()[0]


def _people_gone(before: datetime, now: datetime) -> int:
    """Whoever left every home so long ago, or never had one and was not written about since, as if they had
    asked to be erased; not whoever works here or has signed in since."""
    users = User.objects.filter(person__isnull=False)
    here = users.filter(~Q(role=User.Role.HOMEOWNER) | Q(last_login__gte=before))
    rows = Person.objects.annotate(left=Max("roles__until")).exclude(pk__in=here.values("person"))
    left = rows.filter(left__lt=before.date()).exclude(pk__in=_at_home())
    heard_of = Person.history.filter(history_date__gte=before).values("id")
    never = rows.filter(roles=None).exclude(pk__in=heard_of)
    people = [person for person in (*left, *never) if not is_erased(person)]
    for person in people:
        erase(person, now)
    return len(people)


def _at_home() -> Any:
    return SiteRole.objects.filter(until=None).values("person")


_KINDS: dict[str, Callable[[datetime, datetime], int]] = {
    "letters": _letters,
    "answers": _answers,
    "phone_entries": _phone_entries,
    "photographs": _photographs,
    "plans_of_rounds": _plans_of_rounds,
    "runtime_before": _runtime_before,
    "dates_before": _dates_before,
    "people_gone": _people_gone,
}
