"""Forms of a system's air side: what was measured, and what its papers and ducts say."""

from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from equipment.air_side import budgets
from equipment.airflow import design_airflow, published_floor
from equipment.airside.duct import FLEXIBLE_COMPRESSION, FLEXIBLE_DIAMETERS_M
from equipment.bounds import METER_ERROR
from equipment.commissioning import Measured
from equipment.fields import DropField, QuantityField, TableField, use_units
from equipment.models import AirRecord, FilterSlot, System
from schedules.reading_checks import airflow_rules, drop_rules, how_rules, prefix_of, total_rules
from schedules.reading_rules import Rule, ask, readings, tell_browser
from shared.units import (
    AIRFLOW,
    CAPACITY,
    DIAMETER,
    LENGTH,
    METRE_PER_INCH,
    PRESSURE,
    Kind,
    number,
    parse,
    show,
)

MOST_RETURNS = 2
_COLLAPSED_M = 0.05
_WIDEST_M = 1.2
_LONGEST_M = 60.0
# An opening is within so much of its slot's nominal sides.
_ODD_OPENING_M = 0.05
# Openings are usually about nominal; beyond these they are asked about. Own choice.
_UNDER_NOMINAL_M = 0.6 * METRE_PER_INCH
_OVER_NOMINAL_M = 0.5 * METRE_PER_INCH


def ask_odd_airflow(form: forms.Form, design_m3s: float | None) -> None:
    """Put the question to the ``airflow`` of a form that was cleaned, unless it is ``sure``."""
    ask(form, airflow_rules("airflow", design_m3s), {"airflow": form.cleaned_data.get("airflow")}, "ip")


# Nothing is taken for granted: a drop that is counted as duct twice over takes half the limit away.
READ_WHERE = [
    ("", _("say where")),
    ("in", _("between filter and blower")),
    ("out", _("without the filter")),
]


def ask_where(form: forms.Form, data: dict[str, Any]) -> None:
    """A return static without its place is no figure."""
    if data.get("return_static") is not None and not data.get("filter_in"):
        form.add_error("filter_in", _("With or without the filter? The two differ by its drop."))


class AirForm(forms.Form):
    """Measurements of a whole system at one moment; all may be left empty."""

    filter_drop = DropField(label=_("Filter drop at that moment"), required=False)
    return_static = QuantityField(PRESSURE, label=_("Return static"), required=False)
    filter_in = forms.ChoiceField(
        label=_("Return static was read"),
        choices=READ_WHERE,
        required=False,
    )
    supply_static = QuantityField(PRESSURE, label=_("Supply static"), required=False)
    airflow = QuantityField(AIRFLOW, label=_("Airflow of the whole system"), required=False)
    airflow_method = forms.CharField(label=_("How the airflow was measured"), required=False, max_length=80)
    coil = forms.ChoiceField(
        label=_("Coil"), required=False, choices=[("", _("not noted")), *AirRecord.Coil.choices]
    )
    blower_tap = forms.CharField(label=_("Speed tap"), required=False, max_length=40)
    sure = forms.BooleanField(label=_("I looked again: it is so"), required=False, widget=forms.HiddenInput)

    def __init__(self, of: System, units: str, data: Any = None, prefix: str | None = None) -> None:
        super().__init__(data, prefix=prefix)
        self.of, self.units = of, units
        use_units(self, units)
        self.rules = self._rules()
        tell_browser(self, self.rules)

    def _rules(self) -> list[Rule]:
        start = self.add_prefix("")
        return [
            *drop_rules(
                self.of, f"{start}filter_drop", self.units, (f"{start}return_static", f"{start}filter_in")
            ),
            *total_rules(self.of, start, self.units),
            *airflow_rules(f"{start}airflow", design_airflow(self.of)[0]),
            *how_rules(start),
        ]

    def clean(self) -> dict[str, Any]:
        """Have confirmed what can hardly be: see ``reading_checks``."""
        data = super().clean() or {}
        ask_where(self, data)
        ask(self, self.rules, readings(self), self.units)
        return data

    def measured(self) -> Measured:
        """What was typed, in SI."""
        data = self.cleaned_data
        return Measured(
            airflow_m3s=data["airflow"],
            airflow_method=data["airflow_method"],
            return_static_pa=data["return_static"],
            filter_in=data["filter_in"] == "in",
            supply_static_pa=data["supply_static"],
            filter_drop_pa=data.get("filter_drop"),
            blower_tap=data["blower_tap"],
            coil=data["coil"],
        )


class VisitAirForm(AirForm):
    """The same at a visit, beside the filters' own drops."""

    def __init__(self, of: System, units: str, data: Any = None) -> None:
        super().__init__(of, units, data, prefix_of(of))
        del self.fields["filter_drop"]


class PapersForm(forms.Form):
    """What the unit's papers say and the tape measure: budgets, floor, return ducts."""

    kind = forms.ChoiceField(
        label=_("System"), choices=[("", _("not known")), *System.Kind.choices], required=False
    )
    blower = forms.ChoiceField(
        label=_("Blower"), choices=[("", _("not known")), *System.Blower.choices], required=False
    )
    blower_table = TableField(label=_("Blower table, a line a point: airflow:static"), required=False)
    capacity = QuantityField(CAPACITY, label=_("Cooling capacity"), required=False)
    design_airflow = QuantityField(AIRFLOW, label=_("Design airflow"), required=False)
    airflow_floor = QuantityField(AIRFLOW, label=_("Least airflow by the unit's papers"), required=False)
    rated_static = QuantityField(PRESSURE, label=_("Rated external static"), required=False)
    return_budget = QuantityField(PRESSURE, label=_("Return side may take"), required=False)
    altitude = QuantityField(LENGTH, label=_("Altitude of the home"), required=False)
    sure = forms.BooleanField(
        label=_("It is so all the same"),
        required=False,
        widget=forms.HiddenInput,
    )

    _FIELDS = {
        "capacity": ("capacity_w", CAPACITY),
        "design_airflow": ("design_airflow_m3s", AIRFLOW),
        "airflow_floor": ("airflow_floor_m3s", AIRFLOW),
        "rated_static": ("rated_external_static_pa", PRESSURE),
        "return_budget": ("return_budget_pa", PRESSURE),
    }

    def __init__(
        self, units: str, system: System, slots: Sequence[FilterSlot], *args: Any, **kwargs: Any
    ) -> None:
        kwargs.setdefault("initial", _shown(system, slots, units))
        super().__init__(*args, **kwargs)
        self.slots, self.system, self.units = slots, system, units
        for slot in slots:
            self.fields.update(_opening_fields(slot))
        for place in range(1, MOST_RETURNS + 1):
            self.fields.update(_duct_fields(place))
        use_units(self, units)

    def clean_altitude(self) -> float | None:
        """An altitude where people live."""
        altitude: float | None = self.cleaned_data["altitude"]
        if altitude is not None and altitude > 5000:
            raise forms.ValidationError(_("is higher than anybody lives; check the unit"))
        return altitude

    def clean(self) -> dict[str, Any]:
        """A duct has a diameter; what is written of one without it is asked about."""
        data = super().clean() or {}
        for place in range(1, MOST_RETURNS + 1):
            self._check_duct(data, f"duct{place}_")
        for slot in self.slots:
            self._check_opening(data, slot)
            self._check_limit(data, slot)
        self._check_design(data)
        self._check_rated(data)
        return data

    def _check_opening(self, data: dict[str, Any], slot: FilterSlot) -> None:
        sides = [data.get(f"opening{slot.pk}_{side}") for side in ("short", "long")]
        if (sides[0] is None) != (sides[1] is None):
            self.add_error(f"opening{slot.pk}_short", _("An opening has two sides."))
        for side, nominal in zip(
            sorted(one for one in sides if one), (slot.short_m, slot.long_m), strict=False
        ):
            if abs(side - nominal) > _ODD_OPENING_M:
                self.add_error(
                    f"opening{slot.pk}_short", _("is far from the size of the slot; check the unit")
                )
                return
            if not nominal - _UNDER_NOMINAL_M <= side <= nominal + _OVER_NOMINAL_M:
                self._ask_opening(data, slot)
                return

    def _ask_opening(self, data: dict[str, Any], slot: FilterSlot) -> None:
        said = {"size": slot.size_in(self.units)}
        text = _("is not the usual opening of a %(size)s filter: is it so?")
        self._ask(f"opening{slot.pk}_short", text % said, data)

    def _check_limit(self, data: dict[str, Any], slot: FilterSlot) -> None:
        """A limit lies above the clean drop; one that ducts and coil do not leave is asked about."""
        name, plan = f"limit{slot.pk}", getattr(slot, "plan", None)
        limit, clean = data.get(name), plan.clean_drop_pa if plan else None
        if limit is None or name not in self.changed_data:
            return
        if clean is not None and limit <= clean:
            said = {"clean": show(clean, PRESSURE, self.units)}
            self.add_error(name, _("is not above the clean drop of %(clean)s") % said)
            return
        left = min((one.left for one in budgets(self.system)), default=None)
        if left is not None and limit > left:
            said = {"left": show(max(left, 0.0), PRESSURE, self.units)}
            self._ask(name, _("is more than the %(left)s that ducts and coil leave: is it so?") % said, data)

    def _check_design(self, data: dict[str, Any]) -> None:
        """Have a design airflow below its floor confirmed: it is likelier a slip."""
        trial = System(kind=data.get("kind") or "", capacity_w=data.get("capacity"))
        floor, design = data.get("airflow_floor") or published_floor(trial), data.get("design_airflow")
        if floor is None or design is None or design >= floor * (1 - METER_ERROR):
            return
        said = {"floor": show(floor, AIRFLOW, self.units)}
        self._ask("design_airflow", _("lies below the least airflow of %(floor)s: is it so?") % said, data)

    def _check_rated(self, data: dict[str, Any]) -> None:
        """Have a rating confirmed that the ducts alone are over: it is likelier another unit or column."""
        rated = data.get("rated_static")
        taken = (self.system.return_static_pa or 0.0) + (self.system.supply_static_pa or 0.0)
        if rated is None or rated == self.system.rated_external_static_pa or rated >= taken:
            return
        said = {"taken": show(taken, PRESSURE, self.units)}
        text = _("lies below the %(taken)s that return and supply take by measurement: is it so?")
        self._ask("rated_static", text % said, data)

    def _ask(self, field: str, question: str, data: dict[str, Any]) -> None:
        self.fields["sure"].widget = forms.CheckboxInput()
        if not data.get("sure"):
            self.add_error(field, question)

    def _check_duct(self, data: dict[str, Any], duct: str) -> None:
        diameter, length, kind = (data.get(duct + part) for part in ("diameter", "length", "kind"))
        if diameter is None:
            if length is not None and duct + "diameter" not in self.errors:
                self.add_error(duct + "diameter", _("Write the duct's diameter too."))
            return
        low, high = FLEXIBLE_DIAMETERS_M if kind else (_COLLAPSED_M, _WIDEST_M)
        if not low <= diameter <= high:
            unit = self.fields[duct + "diameter"]
            assert isinstance(unit, QuantityField)  # noqa: S101
            said = {"low": show(low, DIAMETER, unit.system), "high": show(high, DIAMETER, unit.system)}
            self.add_error(duct + "diameter", _("must lie between %(low)s and %(high)s") % said)
        if length is not None and not 0 < length <= _LONGEST_M:
            self.add_error(duct + "length", _("is not the length of a return duct; check the unit"))

    def ducts(self) -> list[dict[str, Any]]:
        """The return ducts as a system keeps them, widest first."""
        data, found = self.cleaned_data, []
        for place in range(1, MOST_RETURNS + 1):
            diameter, kind = data[f"duct{place}_diameter"], data[f"duct{place}_kind"]
            if diameter is not None:
                length = data[f"duct{place}_length"]
                found.append(
                    {
                        "diameter_m": diameter,
                        "length_m": length,
                        "flexible": bool(kind),
                        "compression": float(kind or 0.0),
                    }
                )
        return sorted(found, key=lambda duct: -duct["diameter_m"])

    def apply_to(self, system: System) -> None:
        """Write what was typed into the system, its slots and its site, unsaved."""
        changed = set(self.changed_data)
        for name, (field, _kind) in self._FIELDS.items():
            # A figure that nobody touched keeps its last digits, whatever unit it was shown in.
            if name in changed:
                setattr(system, field, self.cleaned_data[name])
        system.kind, system.blower = self.cleaned_data["kind"], self.cleaned_data["blower"]
        if "blower_table" in changed:
            system.blower_table = self.cleaned_data["blower_table"]
        if any(name.startswith("duct") for name in changed):
            system.return_ducts = self.ducts()
        for slot in self.slots:
            if f"limit{slot.pk}" in changed:
                slot.limit_drop_pa = self.cleaned_data[f"limit{slot.pk}"]
            if not any(name.startswith(f"opening{slot.pk}_") for name in changed):
                continue
            sides = [self.cleaned_data[f"opening{slot.pk}_{side}"] for side in ("short", "long")]
            both = sorted(sides) if None not in sides else [None, None]
            slot.opening_short_m, slot.opening_long_m = both
        if "altitude" in changed:
            system.site.altitude_m = self.cleaned_data["altitude"]


_DUCTS = [
    ("", _("round sheet metal")),
    ("0.0", _("flexible, pulled tight")),
    ("0.04", _("flexible, 4 % slack")),
    ("0.15", _("flexible, 15 % slack")),
    (str(FLEXIBLE_COMPRESSION), _("flexible, 30 % slack")),
]


def _opening_fields(slot: FilterSlot) -> dict[str, forms.Field]:
    said = {"place": slot.location or slot.name}
    return {
        f"limit{slot.pk}": QuantityField(
            PRESSURE,
            label=_("Limit of the drop, %(place)s (empty: by the rule)") % said,
            required=False,
        ),
        f"opening{slot.pk}_short": QuantityField(
            DIAMETER, label=_("Opening at %(place)s, one side") % said, required=False
        ),
        f"opening{slot.pk}_long": QuantityField(
            DIAMETER, label=_("Opening at %(place)s, other side") % said, required=False
        ),
    }


def _duct_fields(place: int) -> dict[str, forms.Field]:
    said = {"n": place}
    return {
        f"duct{place}_diameter": QuantityField(
            DIAMETER, label=_("Return duct %(n)d, diameter") % said, required=False
        ),
        f"duct{place}_length": QuantityField(
            LENGTH, label=_("Return duct %(n)d, length") % said, required=False
        ),
        f"duct{place}_kind": forms.ChoiceField(
            label=_("Return duct %(n)d, kind") % said, choices=_DUCTS, required=False
        ),
    }


def _as_typed(value: float, kind: Kind, units: str) -> str:
    """The figure with as few decimals as give it back to a thousandth: 14.4 kW and no 14.407."""
    for decimals in range(4):
        text = number(value, kind, units, decimals)
        if abs(parse(text, kind, units) - value) <= 0.001 * abs(value):
            break
    return text


def _shown(system: System, slots: Sequence[FilterSlot], units: str) -> dict[str, str]:
    def typed(value: float | None, kind: Kind) -> str:
        return "" if value is None else _as_typed(value, kind, units)

    shown = {name: typed(getattr(system, field), kind) for name, (field, kind) in PapersForm._FIELDS.items()}
    shown |= {"kind": system.kind, "blower": system.blower}
    shown["blower_table"] = "; ".join(
        f"{typed(flow, AIRFLOW)}:{typed(static, PRESSURE)}" for flow, static in system.blower_table
    )
    for slot in slots:
        shown[f"limit{slot.pk}"] = typed(slot.limit_drop_pa, PRESSURE)
        shown[f"opening{slot.pk}_short"] = typed(slot.opening_short_m, DIAMETER)
        shown[f"opening{slot.pk}_long"] = typed(slot.opening_long_m, DIAMETER)
    shown["altitude"] = typed(system.site.altitude_m, LENGTH)
    for place, duct in enumerate(system.return_ducts[:MOST_RETURNS], start=1):
        shown[f"duct{place}_diameter"] = typed(duct["diameter_m"], DIAMETER)
        shown[f"duct{place}_length"] = typed(duct.get("length_m"), LENGTH)
        shown[f"duct{place}_kind"] = str(duct.get("compression") or 0.0) if duct.get("flexible") else ""
    return shown
