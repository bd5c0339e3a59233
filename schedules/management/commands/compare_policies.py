"""Live the same two years of a simulated fleet under each policy of changing filters."""

from pathlib import Path
from typing import Any

import numpy as np
from django.core.management.base import BaseCommand, CommandError, CommandParser

from schedules.rehearsal.fleet import AS_OF, simulate
from schedules.rehearsal.policies import Outcome, at_same, everyday, live
from schedules.rehearsal.policy_drawing import drawing


class Command(BaseCommand):
    """``compare_policies [--slots M] [--seed S] [--days D] [--drawing FILE.svg]``"""

    help = "Replay a simulated fleet under fixed days, run-hours and our dates; print what each came to."

    def add_arguments(self, parser: CommandParser) -> None:
        """How large a fleet, which one, for how long, and where the drawing goes."""
        parser.add_argument("--slots", type=int, default=500)
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--days", type=int, default=730)
        parser.add_argument("--drawing", type=Path, default=None)

    def handle(
        self, *args: Any, slots: int, seed: int, days: int, drawing: Path | None, **options: Any
    ) -> None:
        """A row a policy, then the two comparisons that count."""
        if slots < 1 or days < 1:
            raise CommandError("slots and days must be at least 1")
        fleet = simulate(seed, slots, AS_OF)
        logged = np.random.default_rng([seed, 7]).random(len(fleet.plant.systems.slots))
        outcomes = []
        self.stdout.write(_HEAD)
        for policy in everyday():
            outcomes.append(live(fleet, logged < fleet.plant.world.logged, policy, days))
            self.stdout.write(_row(outcomes[-1]))
        self.stdout.write(_COMPARED)
        for line in compared(outcomes):
            self.stdout.write(line)
        if drawing is not None:
            _draw(drawing, outcomes)
            self.stdout.write(f"{drawing}: the drawing")


_HEAD = f"{'policy':28}{'set to':>8}{'changes':>9}{'days past':>11}{'thrown away':>13}{'cost':>8}"
_COMPARED = (
    f"\n{'ours':18}{'beside':16}{'days past':>10}{'changes':>12}\n"
    "(of theirs: days past the limit at as many changes; changes at as many days past it)"
)


def _row(outcome: Outcome) -> str:
    numbers = f"{outcome.changes:9.2f}{outcome.days_past:11.1f}{outcome.thrown_away:13.2f}{outcome.cost:8.2f}"
    return f"{outcome.family:28}{outcome.setting:8g}{numbers}"


def compared(outcomes: list[Outcome]) -> list[str]:
    """Ours beside the habits: days past the limit at as many changes, and the reverse; what was not tried
    is left out."""
    lines = []
    for ours in dict.fromkeys(o.family for o in outcomes if o.family.startswith(("ours", "least"))):
        for other in ("fixed days", "run-hours"):
            for one in (o for o in outcomes if o.family == other):
                past = at_same(outcomes, ours, "changes", one.changes, "days_past") / max(one.days_past, 1e-9)
                often = at_same(outcomes, ours, "days_past", one.days_past, "changes") / max(
                    one.changes, 1e-9
                )
                if not (np.isnan(past) and np.isnan(often)):
                    lines.append(f"{ours:18}{other + f' {one.setting:g}':16}{past:10.2f}{often:12.2f}")
    return lines


def _draw(path: Path, outcomes: list[Outcome]) -> None:
    try:
        path.write_text(drawing(outcomes), encoding="utf-8")
    except OSError as error:
        raise CommandError(f"{path} cannot be written: {error.strerror}") from None
