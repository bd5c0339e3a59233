"""Runs that work behind the pages: one worker takes each, tells how far it is, and can be stopped."""

import time as clocks
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import TypeVar

from django.db.models import Manager
from django.utils.translation import gettext as _
from pyvrp.stop import StoppingCriterion

from schedules.models import RoundPlan, SeasonPlan

# A run that was not heard of for so long has lost its worker.
SILENT_FOR = timedelta(minutes=3)
_TELL_EVERY_S = 1.0

Run = TypeVar("Run", RoundPlan, SeasonPlan)
State = RoundPlan.State


class NotPlannable(ValueError):
    """A plan that cannot be asked for or taken over; the message says why in plain words."""


def rows(model: type[Run]) -> "Manager[Run]":
    """All runs of a kind."""
    return model._default_manager


def ask_to_stop(run: Run, now: datetime) -> None:
    """Stop a run: at once while it waits, else within seconds; the best found so far is kept."""
    mine = rows(type(run)).filter(pk=run.pk)
    if not mine.filter(state=State.WAITING).update(state=State.STOPPED, ended_at=now):
        mine.filter(state=State.RUNNING).update(stop_asked=True)


def give_up_lost(model: type[Run], now: datetime) -> None:
    """End the runs whose worker was lost."""
    silent = rows(model).filter(state=State.RUNNING, heard_at__lt=now - SILENT_FOR)
    silent.update(state=State.FAILED, ended_at=now, why=_("The worker was lost; ask for the plan again."))


def claim(model: type[Run], now: datetime) -> Run | None:
    """The next run that waits, which nobody else has taken."""
    waiting = rows(model).filter(state=State.WAITING).order_by("pk")
    for pk in waiting.values_list("pk", flat=True):
        mine = rows(model).filter(pk=pk, state=State.WAITING)
        if mine.update(state=State.RUNNING, started_at=now, heard_at=now):
            return rows(model).get(pk=pk)
    return None


class Watched:
    """A rule that ends the search after its seconds or when somebody asks, and tells how far it is."""

    def __init__(self, seconds: float, tell: Callable[[float], bool]) -> None:
        self.seconds, self._tell = seconds, tell
        self.stopped = False

    def criterion(self) -> StoppingCriterion:
        """A fresh test."""
        return _Test(self)

    def over(self, elapsed_s: float) -> bool:
        """Tell the share done; whether somebody wants it to stop."""
        self.stopped = self._tell(min(elapsed_s / self.seconds, 1.0))
        return self.stopped


class _Test(StoppingCriterion):
    def __init__(self, rule: Watched) -> None:
        self.rule, self.began, self.told = rule, clocks.monotonic(), 0.0

    def __call__(self, best_cost: float) -> bool:
        elapsed = clocks.monotonic() - self.began
        if elapsed >= self.rule.seconds:
            return True
        if elapsed - self.told < _TELL_EVERY_S:
            return False
        self.told = elapsed
        return self.rule.over(elapsed)
