"""Whether what a manometer said can be so: which questions are asked, with what to check."""

from django.utils.translation import gettext as _

from equipment.airflow import design_airflow
from equipment.bounds import ODD_PARTS_OF_DESIGN
from equipment.models import FilterSlot, System
from schedules.drop_today import DropToday
from schedules.planning.loading import METER_PA
from schedules.planning.visit_rules import highest_static
from schedules.reading_rules import ANYTHING, Rule
from shared.units import AIRFLOW, PRESSURE, show

# A reading so many times, or so small a part of what was expected is asked about. Own bounds, wider than the
# scatter of filters of one kind.
HIGH, LOW = 2.0, 0.5
# The same of a clean filter over its clean drop at design airflow. Own bounds: filters of one kind reach 1.2
# times their label, and an airflow of 1.2 times design adds a third.
CLEAN_HIGH, CLEAN_LOW = 1.6, 0.5
# A filter alone takes no more than this share of what the blower is rated for. Own bound.
SHARE_OF_RATED = 1.2
# A drop from so much of the return static behind the filter on is likelier that static itself. Own bound.
SHARE_OF_RETURN = 0.95
# The least part of a system's airflow that one of several grilles is likely to take. Own bound.
LEAST_SHARE = 0.1
# What a meter errs at the top of a blower's table, as in planning.visit_rules.
_METER = 1.05


def prefix_of(row: FilterSlot | System) -> str:
    """What the fields of a slot's or a system's form are called by on the page of a visit."""
    return f"slot{row.pk}" if isinstance(row, FilterSlot) else f"air{row.pk}"


def expected_now(slot: FilterSlot, units: str, today: DropToday | None = None) -> str:
    """What the drop should be now and where the limit lies, in the reader's units; empty for unknown."""
    plan = getattr(slot, "plan", None)
    if plan is None or plan.drop_now_pa is None:
        return ""
    said = {
        "now": today.span(units) if today else show(plan.drop_now_pa, PRESSURE, units),
        "limit": show(plan.limit_drop_pa, PRESSURE, units),
    }
    if plan.limit_drop_pa is None:
        return (_("%(now)s is expected now") if today else _("about %(now)s is expected now")) % said
    if today:
        return _("%(now)s is expected now, the limit is %(limit)s") % said
    return _("about %(now)s is expected now, the limit is %(limit)s") % said


def slot_rules(slot: FilterSlot, units: str, today: DropToday | None = None) -> list[Rule]:
    """What is asked of the two drops and the airflow at one slot of a visit, and what is said of them beside
    the span of ``today``."""
    prefix, air = prefix_of(slot), prefix_of(slot.system)
    before, after, changed = (f"{prefix}-{name}" for name in ("drop_before", "drop_after", "changed"))
    statics = f"{air}-return_static", f"{air}-filter_in"
    return [
        *_of_the_old(slot, before, units),
        *_of_the_clean(slot, before, after, units),
        *drop_rules(slot.system, before, units, statics, ((after, ""), (changed, ""))),
        *drop_rules(slot.system, after, units, statics, ((changed, ANYTHING),)),
        *airflow_rules(f"{prefix}-airflow", design_airflow(slot.system)[0], LEAST_SHARE),
        *(_subtracted(name) for name in (before, after)),
        *_beside_the_span(slot, before, units, today),
    ]


def lone_rules(slot: FilterSlot, units: str, today: DropToday | None = None) -> list[Rule]:
    """The same of a reading that stands alone, on the filter's own page."""
    return [
        *_of_the_old(slot, "filter_drop", units),
        *drop_rules(slot.system, "filter_drop", units, ("return_static", "filter_in")),
        *airflow_rules("airflow", design_airflow(slot.system)[0], LEAST_SHARE),
        _subtracted("filter_drop"),
        *_beside_the_span(slot, "filter_drop", units, today),
    ]


def _subtracted(name: str) -> Rule:
    """A drop is read with one tube on each side; two statics are that only under the same air."""
    text = _(
        "Two statics make a drop only where both were read against the room, one on each side of the filter, "
        "with fan, doors and coil unchanged. Was it so? Else put one tube on each side and read again."
    )
    return Rule((name,), text, subtracted=True)


def _beside_the_span(slot: FilterSlot, name: str, units: str, today: DropToday | None) -> list[Rule]:
    """What is worth a word and no question: outside the span of eight in ten, and past the limit."""
    plan, found = getattr(slot, "plan", None), []
    if plan is not None and plan.limit_drop_pa:
        said = {"limit": show(plan.limit_drop_pa, PRESSURE, units)}
        past = _("Past the limit of %(limit)s: change it today.") % said
        found.append(Rule((name,), past, low=plan.limit_drop_pa, note=True))
    if today is not None:
        text = _("Outside the %(span)s that is expected today; it happens two times in ten.")
        said = {"span": today.span(units)}
        found.append(Rule((name,), text % said, high=today.low_pa, note=True))
        found.append(Rule((name,), text % said, low=today.high_pa, note=True))
    return found


def _of_the_old(slot: FilterSlot, name: str, units: str) -> list[Rule]:
    plan = getattr(slot, "plan", None)
    if plan is None or not plan.drop_now_pa:
        return []
    said = {"drop": "{value}", "now": show(plan.drop_now_pa, PRESSURE, units)}
    high = _(
        "%(drop)s where about %(now)s was expected: was the grille measured together with the "
        "filter, or is a finer filter in?"
    )
    low = _(
        "%(drop)s where about %(now)s was expected: does the fan run as usual, is the meter at "
        "nought with both tubes open, does the filter sit tight?"
    )
    return [
        Rule((name,), high % said, low=HIGH * plan.drop_now_pa),
        Rule((name,), low % said, high=LOW * plan.drop_now_pa),
    ]


def _of_the_clean(slot: FilterSlot, before: str, after: str, units: str) -> list[Rule]:
    prefix = prefix_of(slot)
    as_much = _(
        "The clean filter shows as much as the old one: were the two swapped, or is another filter in?"
    )
    unchanged = _("This is the drop of a clean filter, and Changed has no tick: was the filter changed?")
    rules = [
        Rule((after,), as_much, low=1.0, beside=before, only=((f"{prefix}-changed", ANYTHING),)),
        Rule((after,), unchanged, only=((f"{prefix}-changed", ""),)),
    ]
    plan = getattr(slot, "plan", None)
    if plan is None or not plan.clean_drop_pa:
        return rules
    said = {"drop": "{value}", "clean": show(plan.clean_drop_pa, PRESSURE, units)}
    high = _(
        "%(drop)s where a clean filter of this kind takes about %(clean)s: was the grille measured together "
        "with the filter, or is a finer filter in?"
    )
    low = _(
        "%(drop)s where a clean filter of this kind takes about %(clean)s: does the fan run as usual, is the "
        "meter at nought with both tubes open, does the filter sit tight?"
    )
    # Of another medium than before nobody has reckoned what it takes clean.
    same = ((f"{prefix}-medium", ""), (f"{prefix}-changed", ANYTHING))
    return [
        *rules,
        Rule((after,), high % said, low=CLEAN_HIGH * plan.clean_drop_pa, only=same),
        Rule((after,), low % said, high=CLEAN_LOW * plan.clean_drop_pa, only=same),
    ]


def drop_rules(
    system: System, name: str, units: str, statics: tuple[str, str], only: tuple[tuple[str, str], ...] = ()
) -> list[Rule]:
    """What is asked of a filter's drop in the field ``name``: by its blower, and by the return static, read
    where the other of the fields ``statics`` says, if ``only`` says that this filter was in meanwhile."""
    rated, table = system.rated_external_static_pa, system.blower_table
    by_table = _highest(table, None) if table else None
    by_rating = SHARE_OF_RATED * rated if rated else None
    text = _(
        "%(drop)s across a filter is more than the %(rated)s that this blower is rated for: are both "
        "tubes at the filter alone, and not one of them in the room?"
    )
    said = {"drop": "{value}", "rated": show(rated, PRESSURE, units)}
    if by_table is not None and (by_rating is None or by_table < by_rating):
        text = _(
            "%(drop)s across a filter is more than the %(top)s at which this blower's table ends: are both "
            "tubes at the filter alone, and not one of them in the room?"
        )
        said["top"] = show(highest_static(table, None), PRESSURE, units)
    lowest = min((bound for bound in (by_table, by_rating) if bound is not None), default=None)
    found = [Rule((name,), text % said, low=lowest)] if lowest is not None else []
    static = _(
        "%(drop)s is as much as the return static behind the filter: is this the drop across the filter, or "
        "the return static? For the drop one tube is on each side of the filter, and none in the room."
    )
    both = (*only, (statics[1], "in"))
    return [*found, Rule((name,), static % said, low=SHARE_OF_RETURN, beside=statics[0], only=both)]


def how_rules(prefix: str) -> list[Rule]:
    """What is said of a static without its place, and of an airflow without its method."""
    where = _("Say below whether the filter was in: the two differ by its drop.")
    how = _("Say how it was measured: hood, traverse, temperature rise, or statics and the blower's table.")
    return [
        Rule((f"{prefix}return_static",), where, only=((f"{prefix}filter_in", ""),), note=True),
        Rule((f"{prefix}airflow",), how, only=((f"{prefix}airflow_method", ""),), note=True, kind=AIRFLOW),
    ]


def total_rules(system: System, prefix: str, units: str) -> list[Rule]:
    """What is asked of return and supply static together, the total external static of ``system``."""
    names = tuple(f"{prefix}{name}" for name in ("supply_static", "return_static"))
    rated, top = system.rated_external_static_pa, highest_static(system.blower_table, None)
    highest = highest_static(system.blower_table, rated)
    found, said = [], {"sum": "{value}", "rated": show(rated, PRESSURE, units)}
    if highest < float("inf"):
        said["top"] = show(highest, PRESSURE, units)
        text = _(
            "Return and supply static come to %(sum)s, and this blower's table ends at %(top)s: was each "
            "read against the room, with the meter at nought, and in this unit?"
        )
        if not system.blower_table:
            text = _(
                "Return and supply static come to %(sum)s, far more than the %(rated)s that the blower is "
                "rated for: was each read against the room, with the meter at nought, and in this unit?"
            )
        found.append(Rule(names, text % said, low=_highest(system.blower_table, rated)))
    if rated and rated < min(highest, top):
        text = _(
            "Return and supply static come to %(sum)s, and the blower is rated for %(rated)s: the airflow "
            "will be short. Say so among the findings."
        )
        high = _highest(system.blower_table, rated)
        found.append(Rule(names, text % said, low=rated, high=high, note=True))
    return found


def _highest(table: list[list[float]], rated_pa: float | None) -> float:
    """As ``visit_rules.beyond_blower`` has it: what is beyond the blower and what the meter errs, in Pa."""
    return _METER * highest_static(table, rated_pa) + 2 * METER_PA


def airflow_rules(name: str, design_m3s: float | None, least: float | None = None) -> list[Rule]:
    """What is asked of an airflow far below and far above design: a digit lost, or another unit. ``least`` is
    the part of design below which it is asked, where that is another than a whole system's."""
    if not design_m3s:
        return []
    low, high = (part * design_m3s for part in (least or ODD_PARTS_OF_DESIGN[0], ODD_PARTS_OF_DESIGN[1]))
    text = _("is %(share)s %% of design: is it so, and in this unit?") % {"share": "{share}"}
    return [
        Rule((name,), text, high=low, part_of=design_m3s, kind=AIRFLOW),
        Rule((name,), text, low=high, part_of=design_m3s, kind=AIRFLOW),
    ]
