"""What devices post, and how a reading is written and told."""

from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema
from pydantic import FiniteFloat, model_validator

from equipment.device_posts import DayPosted, ReadingPosted, take
from equipment.models import Device, Reading
from shared.asked_days import Day, Instant
from shared.units import M3S_PER_CFM, PA_PER_INWC, cfm, inwc

MOST_ROWS = 5000
router = Router()


class DayIn(Schema):
    """Fan hours of a local day."""

    day: Day
    fan_hours: FiniteFloat


class ReadingIn(Schema):
    """A drop in one of two units, with an airflow in one of two or none."""

    taken_at: Instant
    filter_slot: str = Field("", max_length=120)
    filter_drop_pa: FiniteFloat | None = None
    filter_drop_inwc: FiniteFloat | None = None
    airflow_m3s: FiniteFloat | None = None
    airflow_cfm: FiniteFloat | None = None

    @model_validator(mode="after")
    def in_one_unit(self) -> "ReadingIn":
        """Exactly one drop, at most one airflow."""
        if (self.filter_drop_pa is None) == (self.filter_drop_inwc is None):
            raise ValueError(_("give the drop once: filter_drop_pa or filter_drop_inwc"))
        if self.airflow_m3s is not None and self.airflow_cfm is not None:
            raise ValueError(_("give the airflow once: airflow_m3s or airflow_cfm"))
        return self

    @property
    def posted(self) -> ReadingPosted:
        """The same in SI."""
        drop = self.filter_drop_pa if self.filter_drop_inwc is None else inwc(self.filter_drop_inwc)
        flow = self.airflow_m3s if self.airflow_cfm is None else cfm(self.airflow_cfm)
        return ReadingPosted(self.taken_at, drop or 0.0, flow, self.filter_slot)


class BatchIn(Schema):
    """What a device has gathered since it last got through; rows may come late, out of order and twice."""

    runtime: list[DayIn] = Field(default_factory=list, max_length=MOST_ROWS)
    readings: list[ReadingIn] = Field(default_factory=list, max_length=MOST_ROWS)


class RefusedOut(Schema):
    """A row that was not taken: of which list, its place from nought, why."""

    of: str
    row: int
    why: str


class OutcomeOut(Schema):
    """How many rows are new, put a day right, were known; which were refused."""

    stored: int
    changed: int
    known: int
    refused: list[RefusedOut]


@router.post("/devices/batch", url_name="api-device-batch", response=OutcomeOut, tags=["devices"])
def device_batch(request: HttpRequest, batch: BatchIn) -> Any:
    """Store a device's batch: each row by itself, the same rows only once."""
    device = getattr(request, "device", None)
    if not isinstance(device, Device):
        raise Http404
    days = [DayPosted(one.day, one.fan_hours) for one in batch.runtime]
    return take(device, days, [one.posted for one in batch.readings], timezone.now())


class ReadingOut(Schema):
    """A reading of a filter."""

    filter_slot: str
    taken_at: datetime
    filter_drop_inwc: float
    airflow_cfm: float | None

    @staticmethod
    def resolve_filter_slot(row: Reading) -> str:
        return row.slot.name

    @staticmethod
    def resolve_filter_drop_inwc(row: Reading) -> float:
        return round(row.filter_drop_pa / PA_PER_INWC, 6)

    @staticmethod
    def resolve_airflow_cfm(row: Reading) -> float | None:
        return None if row.airflow_m3s is None else round(row.airflow_m3s / M3S_PER_CFM, 6)
