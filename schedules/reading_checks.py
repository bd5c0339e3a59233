"""Whether what a manometer said can be so: asked at the form, with what to check."""

from django.utils.translation import gettext as _

from equipment.models import FilterSlot
from shared.units import PRESSURE, show

# A reading so many times, or so small a part of what was expected is asked about. Own bounds, wider than the
# scatter of filters of one kind.
HIGH, LOW = 2.0, 0.5
# A filter alone takes no more than this share of what the blower is rated for.
_SHARE_OF_RATED = 1.2


def expected_now(slot: FilterSlot, units: str) -> str:
    """What the drop should be now and where the limit lies, in the reader's units; empty for unknown."""
    plan = getattr(slot, "plan", None)
    if plan is None or plan.drop_now_pa is None:
        return ""
    said = {
        "now": show(plan.drop_now_pa, PRESSURE, units),
        "limit": show(plan.limit_drop_pa, PRESSURE, units),
    }
    if plan.limit_drop_pa is None:
        return _("about %(now)s is expected now") % said
    return _("about %(now)s is expected now, the limit is %(limit)s") % said


def questions(slot: FilterSlot, before_pa: float | None, after_pa: float | None, units: str) -> list[str]:
    """What to look at again of the drops of the old and the clean filter, in Pa; empty where all is usual."""
    found = []
    if before_pa is not None:
        found += _of_the_old(slot, before_pa, units)
    if before_pa is not None and after_pa is not None and after_pa >= before_pa:
        found.append(
            _("The clean filter shows as much as the old one: were the two swapped, or is another filter in?")
        )
    highest = max((value for value in (before_pa, after_pa) if value is not None), default=0.0)
    rated = slot.system.rated_external_static_pa
    if rated and highest > _SHARE_OF_RATED * rated:
        said = {"drop": show(highest, PRESSURE, units), "rated": show(rated, PRESSURE, units)}
        found.append(
            _(
                "%(drop)s across a filter is more than the %(rated)s that this blower is rated for: are both "
                "tubes at the filter alone, and not one of them in the room?"
            )
            % said
        )
    return found


def _of_the_old(slot: FilterSlot, drop_pa: float, units: str) -> list[str]:
    plan = getattr(slot, "plan", None)
    if plan is None or not plan.drop_now_pa:
        return []
    said = {"drop": show(drop_pa, PRESSURE, units), "now": show(plan.drop_now_pa, PRESSURE, units)}
    if drop_pa > HIGH * plan.drop_now_pa:
        return [
            _(
                "%(drop)s where about %(now)s was expected: was the grille measured together with the "
                "filter, or is a finer filter in?"
            )
            % said
        ]
    if drop_pa < LOW * plan.drop_now_pa:
        return [
            _(
                "%(drop)s where about %(now)s was expected: does the fan run as usual, is the meter at "
                "nought with both tubes open, does the filter sit tight?"
            )
            % said
        ]
    return []
