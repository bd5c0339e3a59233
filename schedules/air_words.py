"""The air side of a system in words: each figure with where it comes from, and what falls short."""

from dataclasses import dataclass
from zoneinfo import ZoneInfo

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.air_side import AirSide, Budget, Figure
from equipment.airside.limit import AIRFLOW_FLOOR_HIGH_VELOCITY, AIRFLOW_FLOOR_OTHERS
from equipment.verdict_words import Words
from shared import clock
from shared.units import AIRFLOW, AREA, DIAMETER, PRESSURE, show


@dataclass(frozen=True)
class Line:
    """A row of the table: what it is, how much, where that comes from; ``short`` marks what falls short."""

    name: str
    figure: str
    origin: str
    short: bool = False


def title(side: AirSide, units: str) -> str:
    """The air side in one sentence."""
    if side.below_floor:
        return _("This system moves less air than it needs")
    tight = side.tightest
    if tight is None:
        return _("How much drop this system can spare is not known yet")
    if tight.left <= 0:
        return _("Ducts and coil leave nothing for the filter")
    said = {"left": show(tight.left, PRESSURE, units)}
    rated = any(one.name == "rated" for one in side.budgets)
    counted = [side.return_static, *([side.supply_static] if rated else [])]
    if any(one.far for one in counted):
        return _("Measure nearer to design airflow: what ducts and coil leave is not known")
    if any(one.value is None for one in counted):
        return _("At most %(left)s is left for the filter: ducts and coil are not all measured") % said
    return _("Ducts and coil leave %(left)s for the filter") % said


def lines(side: AirSide, tz: ZoneInfo, units: str) -> list[Line]:
    """Airflow, its floor, statics and budgets."""
    tight = side.tightest
    rows = [
        Line(_("Design airflow"), show(side.design.value, AIRFLOW, units), _origin(side.design, tz, units)),
        Line(
            _("Airflow as measured"),
            _measured(side, units),
            _origin_of_airflow(side.measured, tz, units),
            side.below_floor and side.measured.value is not None,
        ),
        Line(
            _("Least airflow"),
            show(side.floor.value, AIRFLOW, units),
            _origin(side.floor, tz, units),
            side.below_floor,
        ),
        _static(_("Return static without the filter"), side.return_static, tz, units),
        _static(_("Supply static"), side.supply_static, tz, units),
        Line(
            _("Filter drop when measured"),
            show(side.filter_drop.value, PRESSURE, units),
            _origin(side.filter_drop, tz, units),
        ),
    ]
    if side.off_table is not None:
        said = _(
            "at the airflow measured the blower's table gives %(told)s: tap, table or reading is another's"
        )
        told = said % {"told": show(side.off_table[1], PRESSURE, units)}
        rows.append(
            Line(_("External static as measured"), show(side.off_table[0], PRESSURE, units), told, True)
        )
    rows += [_budget(one, one is tight, units) for one in side.budgets]
    if not side.budgets:
        rows.append(Line(_("Static budget"), "–", _("neither a return budget nor a rated static on record")))
    if side.friction_pa is not None:
        rows.append(
            Line(
                _("Return duct and grille, reckoned"),
                show(side.friction_pa, PRESSURE, units),
                _("by diameter, length, slack and face; bends and boot come on top; not counted"),
            )
        )
    return rows


def _origin_of_airflow(figure: Figure, tz: ZoneInfo, units: str) -> str:
    said = _origin(figure, tz, units)
    return _("%(origin)s; how is not noted") % {"origin": said} if figure.at and not figure.rule else said


def _measured(side: AirSide, units: str) -> str:
    said = show(side.measured.value, AIRFLOW, units)
    if side.measured.value is None or not side.design.value:
        return said
    share = round(100 * side.measured.value / side.design.value)
    return _("%(flow)s, %(share)d %% of design") % {"flow": said, "share": share}


def _static(name: str, figure: Figure, tz: ZoneInfo, units: str) -> Line:
    if figure.value is None:
        return Line(name, show(0.0, PRESSURE, units), _("not measured: taken as nought"))
    return Line(name, show(figure.value, PRESSURE, units), _origin(figure, tz, units))


def _budget(one: Budget, tightest: bool, units: str) -> Line:
    name = {
        "return": _("Left of what the return side may take"),
        "rated": _("Left of the rated external static"),
    }[one.name]
    rule = {
        "return": _("%(whole)s less %(taken)s for the return without the filter"),
        "rated": _("%(whole)s less %(taken)s for return and supply"),
    }[one.name]
    said = rule % {"whole": show(one.whole, PRESSURE, units), "taken": show(one.taken, PRESSURE, units)}
    if tightest:
        said += _("; this one decides")
    return Line(name, show(one.left, PRESSURE, units), said, one.left <= 0)


def _origin(figure: Figure, tz: ZoneInfo, units: str) -> str:
    if figure.basis == "measured" and figure.at is not None:
        day = formats.date_format(clock.local_day(figure.at, tz), "j F Y")
        if figure.read_at_m3s is not None:
            said = _("measured on %(day)s at %(flow)s, carried to design airflow by the square")
            if figure.far:
                said = _("measured on %(day)s at %(flow)s, too far from design to be carried: stands as read")
            return said % {"day": day, "flow": show(figure.read_at_m3s, AIRFLOW, units)}
        how = figure.rule
        return _("measured on %(day)s, %(how)s") % {"day": day, "how": how} if how else (
            _("measured on %(day)s") % {"day": day}
        )  # fmt: skip
    rules = {
        "papers": _("the unit's papers"),
        "floor_high_velocity": _("%(rate)s for small-duct high-velocity systems, California Title 24")
        % {"rate": Words(units).rate(AIRFLOW_FLOOR_HIGH_VELOCITY)},
        "floor_others": _("%(rate)s, California Title 24")
        % {"rate": Words(units).rate(AIRFLOW_FLOOR_OTHERS)},
    }
    if figure.basis == "assumed":
        return _("assumed: %(rule)s") % {"rule": rules.get(figure.rule, "")}
    if figure.basis == "given":
        return rules.get(figure.rule, _("on record, without a measurement"))
    return rules.get(figure.rule, _("not known"))


def path_lines(side: AirSide, units: str) -> list[str]:
    """What the return path's rule says, a sentence each; a yardstick where local code asks something else."""
    path = side.path
    if path.want is None:
        return [_not_judged(path.not_judged), *_thin_face(side, units)]
    sizes = _(" and ").join(show(one, DIAMETER, units, 0) for one in path.want.diameters_m)
    ducts = ngettext(
        "%(rule)s asks for a return duct of %(sizes)s and %(grille)s of grille.",
        "%(rule)s asks for return ducts of %(sizes)s and %(grille)s of grille.",
        len(path.want.diameters_m),
    )
    asked = ducts % {
        "rule": path.want.rule,
        "sizes": sizes,
        "grille": show(path.want.grille_m2, AREA, units),
    }
    said = [asked]
    for one in path.narrow:
        duct = one.part == "return duct"
        words = {
            "found": show(one.found, DIAMETER if duct else AREA, units, 0),
            "least": show(one.least, DIAMETER if duct else AREA, units, 0),
        }
        text = (
            _("A return duct of %(found)s is narrower than the %(least)s asked for.")
            if duct
            else _("The grilles have %(found)s in all, less than the %(least)s asked for.")
        )
        said.append(text % words)
    if not path.narrow:
        said.append(_("What is known of the return path is wide enough by it."))
    return [*said, *_thin_face(side, units)]


def _not_judged(why: str) -> str:
    return {
        "high_velocity": _("The tables of return ducts do not speak of small-duct high-velocity systems."),
        "capacity": _("Without the cooling capacity the return path cannot be held to a table."),
        "beyond": _("The tables of return ducts do not go so far; the return static tells."),
    }.get(why, _("Nothing is known of the return path yet."))


def _thin_face(side: AirSide, units: str) -> list[str]:
    least = side.path.thin_face_m2
    if least is None:
        return []
    said = {"face": show(side.path.grille_m2, AREA, units), "least": show(least, AREA, units)}
    if side.path.grille_m2 < least * (1 - 1e-9):
        asked = _(
            "California asks %(least)s of face for inch-deep filters at design airflow; here are %(face)s."
        )
        return [asked % said]
    return [_("The filters' face of %(face)s is enough for inch-deep ones at design airflow.") % said]


def limit_words(notes: list[str]) -> str:
    """The rule that a slot's limit comes from, by the notes of its plan."""
    for note, said in (
        ("limit_given", _("set on the record")),
        ("nothing_left", _("the budget leaves no more than the clean drop")),
        ("limit_budget", _("what the budget leaves")),
        ("limit_twice_clean", _("twice the clean drop")),
    ):
        if note in notes:
            return said
    return _("not known: no medium or no label")
