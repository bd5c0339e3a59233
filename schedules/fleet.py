"""The fleet's own prior: learned from a sample of its systems, kept for the day."""

import logging
from datetime import date, datetime
from typing import Any

import numpy as np
from django.db import DatabaseError, InterfaceError

from equipment.models import System
from schedules.gather import Gatherer
from schedules.models import FleetPrior
from schedules.planning.forecast import fit_prior
from schedules.planning.loading import Prior

log = logging.getLogger(__name__)

# More systems than this would narrow the fleet's means by less than houses differ.
SAMPLE_SYSTEMS = 600


def learn_prior(as_of: date) -> Prior:
    """The prior from facts up to ``as_of``, learned from systems spread evenly over the record; where
    something in them goes wrong, what was learned last before: one home must not stop all."""
    try:
        return _learned(as_of)
    except (DatabaseError, InterfaceError):
        raise
    except Exception:
        log.exception("nothing could be learned from the fleet; what it taught before holds")
        before = FleetPrior.objects.filter(day__lt=as_of).order_by("-day").first()
        return of_numbers(before.numbers) if before else Prior()


def _learned(as_of: date) -> Prior:
    systems = list(System.objects.order_by("pk").values_list("pk", flat=True))
    step = max(1, -(-len(systems) // SAMPLE_SYSTEMS))
    sample = systems[::step]
    if not sample:
        return Prior()
    gathered = Gatherer(as_of).gather(sample)
    return fit_prior(gathered.facts) if gathered.slots else Prior()


def prior_of_the_day(today: date, now: datetime, *, anew: bool = False) -> Prior:
    """The prior learned today; learned now where there is none yet, or ``anew`` after many new facts."""
    row = None if anew else FleetPrior.objects.filter(day=today).first()
    if row is not None:
        return of_numbers(row.numbers)
    prior = learn_prior(today)
    kept = {"numbers": to_numbers(prior), "learned_from": prior.learned_from, "made_at": now}
    FleetPrior.objects.update_or_create(day=today, defaults=kept)
    return prior


def to_numbers(prior: Prior) -> dict[str, Any]:
    """The prior as it is kept."""
    return {
        "coefficients": prior.coefficients.tolist(),
        "house": prior.house,
        "life": prior.life,
        "slot": prior.slot,
        "pairs": prior.pairs.tolist(),
        "learned_from": prior.learned_from,
        "noise": prior.noise,
    }


def of_numbers(numbers: dict[str, Any]) -> Prior:
    """The prior that was kept."""
    arrays = {name: np.array(numbers[name], dtype=np.float64) for name in ("coefficients", "pairs")}
    return Prior(
        arrays["coefficients"],
        numbers["house"],
        numbers["life"],
        arrays["pairs"],
        numbers.get("slot", Prior().slot),
        numbers["learned_from"],
        numbers.get("noise", 1.0),
    )
