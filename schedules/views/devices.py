"""Devices of a system: made, turned, withdrawn; a key is shown on the next page and never again."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment import devices
from equipment.access import signed_in
from equipment.models import Device, System
from shared.keys import new_seed

_SHOWN = "device-key"


def new(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a device of the system."""
    system = get_object_or_404(System, pk=pk)
    seed = new_seed()
    try:
        device, _key = devices.make(
            system, request.POST.get("name", ""), signed_in(request), timezone.now(), seed
        )
    except devices.NotADevice as error:
        messages.error(request, str(error))
    else:
        _keep(request, device, seed)
    return _back(pk)


def turned(request: HttpRequest, pk: int) -> HttpResponse:
    """Another key for a device; the old one opens nothing from now on."""
    device, seed = get_object_or_404(Device, pk=pk), new_seed()
    try:
        devices.turn(device, timezone.now(), seed)
        _keep(request, device, seed)
    except devices.NotADevice as error:
        messages.error(request, str(error))
    return _back(device.system_id)


def gone(request: HttpRequest, pk: int) -> HttpResponse:
    """The device may post no more."""
    device = get_object_or_404(Device, pk=pk)
    devices.withdraw(device, timezone.now())
    messages.success(request, _("%(name)s may post no more; what it posted stays.") % {"name": device.name})
    return _back(device.system_id)


def _keep(request: HttpRequest, device: Device, seed: str) -> None:
    # A session is kept in the database, which is to hold no key.
    request.session[_SHOWN] = [device.pk, seed]


def _back(system: int) -> HttpResponse:
    answer = redirect("air-side", system)
    answer["Location"] += "#devices"
    return answer


def shown_once(request: HttpRequest, system: System) -> tuple[Device, str] | None:
    """The device of the system whose key was made just now, and the key; asked again, nothing."""
    pk, seed = request.session.get(_SHOWN) or (None, "")
    device = Device.objects.filter(pk=pk, system=system).first() if pk else None
    if device is None:
        return None
    del request.session[_SHOWN]
    return device, devices.key_by(seed)
