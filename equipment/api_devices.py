"""Devices and keys for programs: listed, made, turned, withdrawn; a device's key is shown once."""

from datetime import datetime
from typing import Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import Field, Router, Schema, Status

from equipment import api_keys, devices
from equipment.access import signed_in
from equipment.models import ApiKey, Device, System
from shared.asked_days import Key
from shared.form_bodies import fault
from shared.keys import SHOWN_ONCE
from shared.paging import Page, Paged, page_of

router = Router()


class DeviceOut(Schema):
    """A device of a system, by the first signs of its key; ``heard_at``: when it last got through."""

    id: int
    system: str
    name: str
    key_begins: str
    made_at: datetime
    turned_at: datetime | None
    withdrawn_at: datetime | None
    heard_at: datetime | None

    @staticmethod
    def resolve_system(row: Device) -> str:
        return row.system.name


class DeviceKeyOut(DeviceOut):
    """The same with its key, which no later answer tells: turn it where it is lost."""

    key: str


class DeviceIn(Schema):
    """A device, called by the place where it hangs."""

    system: str = Field(max_length=120)
    name: str = Field(max_length=80)


class KeyOut(Schema):
    """A key for programs that stands, by its first signs."""

    id: int
    user: str
    name: str
    key_begins: str
    made_at: datetime
    expires_at: datetime
    withdrawn_at: datetime | None
    used_at: datetime | None

    @staticmethod
    def resolve_user(row: ApiKey) -> str:
        return row.user.get_full_name() or row.user.username


@router.get("/devices", url_name="api-devices", response=Page[DeviceOut], tags=["devices"])
def list_devices(request: HttpRequest, paged: Paged, system: str = "") -> Any:
    """Devices, by system; those that were withdrawn as well."""
    rows = Device.objects.select_related("system").order_by("system__name", "name", "pk")
    return page_of(rows.filter(system__name=system) if system else rows, paged)


@router.post("/devices", url_name="api-devices", response={201: DeviceKeyOut}, tags=["devices"])
def make(request: HttpRequest, told: DeviceIn) -> Any:
    """Make a device of a system; its key is in this answer and in no other."""
    system = System.objects.filter(name=told.system).first()
    if system is None:
        raise fault("system", _("No system of that name is on record."))
    device, key = devices.make(system, told.name, signed_in(request), timezone.now())
    return Status(201, _shown(request, device, key))


@router.post("/devices/{pk}/turned", url_name="api-device-turned", response=DeviceKeyOut, tags=["devices"])
def turn(request: HttpRequest, pk: Key) -> Any:
    """Another key for a device; the old one opens nothing from now on."""
    device = get_object_or_404(Device.objects.select_related("system"), pk=pk)
    return _shown(request, device, devices.turn(device, timezone.now()))


@router.post("/devices/{pk}/withdrawn", url_name="api-device-withdrawn", response=DeviceOut, tags=["devices"])
def withdraw(request: HttpRequest, pk: Key) -> Any:
    """The device may post no more; what it posted stays."""
    device = get_object_or_404(Device.objects.select_related("system"), pk=pk)
    devices.withdraw(device, timezone.now())
    return device


def _shown(request: HttpRequest, device: Device, key: str) -> Any:
    setattr(request, SHOWN_ONCE, ("key",))
    shown: Any = device
    shown.key = key
    return shown


@router.get("/keys", url_name="api-keys", response=Page[KeyOut], tags=["keys"])
def keys(request: HttpRequest, paged: Paged) -> Any:
    """Keys that stand: one's own, and for whoever leads the desk everybody's."""
    rows = api_keys.seen_by(signed_in(request), timezone.now()).order_by("user", "-made_at", "pk")
    return page_of(rows, paged)


@router.post("/keys/{pk}/withdrawn", url_name="api-key-withdrawn", response=KeyOut, tags=["keys"])
def key_gone(request: HttpRequest, pk: Key) -> Any:
    """The key opens nothing any more, this one too where it is its own."""
    row = get_object_or_404(api_keys.seen_by(signed_in(request), timezone.now()), pk=pk)
    api_keys.withdraw(row, timezone.now())
    return row
