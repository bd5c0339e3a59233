"""What a program sent, read by a page's own form, so that both are refused for the same reasons."""

from collections.abc import Iterable, Mapping
from datetime import date, time
from typing import Annotated, Any, Literal

from django import forms
from django.http import QueryDict
from ninja import Field
from pydantic import FiniteFloat

# A quantity in the units that the body names, or with its unit behind it, as people type it.
Figure = Annotated[str, Field(max_length=60)] | FiniteFloat

Units = Literal["ip", "si"]
Fault = dict[str, str]


class Faulty(ValueError):
    """A form refused what was sent; ``faults`` name the place of each."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__("; ".join(one["why"] for one in faults))
        self.faults = faults


class Refusal(Exception):
    """What a program asked is refused with ``status``; ``more`` goes along."""

    def __init__(self, status: int, detail: str, **more: Any) -> None:
        super().__init__(detail)
        self.status, self.more = status, more


def fault(at: str, why: object) -> Faulty:
    """One fault at one place of the body."""
    return Faulty([{"at": f"body/{at}" if at else "body", "why": str(why)}])


def fill(data: QueryDict, told: Mapping[str, Any], prefix: str = "") -> QueryDict:
    """Put values into ``data`` under their names, as a page would send them; None is left out."""
    for name, value in told.items():
        if value is not None:
            many = value if isinstance(value, list | tuple) else [value]
            data.setlist(f"{prefix}{name}", [_typed(one) for one in many])
    return data


def as_form(told: Mapping[str, Any]) -> QueryDict:
    """The values as a form reads them."""
    return fill(QueryDict(mutable=True), told)


def _typed(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)


def checked(form: forms.BaseForm, at: str = "", names: Mapping[str, str] | None = None) -> dict[str, Any]:
    """What the form read. Raises Faulty with the form's own words; ``names`` are those of the body where they
    differ."""
    if not form.is_valid():
        raise Faulty(list(faults_of(form, at, names or {})))
    return form.cleaned_data


def faults_of(form: forms.BaseForm, at: str = "", names: Mapping[str, str] | None = None) -> Iterable[Fault]:
    """Each fault of a form with its place in the body."""
    for field, errors in form.errors.items():
        place = "" if field == "__all__" else (names or {}).get(field, field)
        where = "/".join(part for part in ("body", at, place) if part)
        yield from ({"at": where, "why": str(error)} for error in errors)
