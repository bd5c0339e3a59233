"""Devices and their keys: made, turned, withdrawn, recognised."""

from datetime import datetime

from django.utils.translation import gettext as _

from equipment.models import Device, System, User
from shared.keys import begins, key_print, new_seed, typed_key_of


class NotADevice(ValueError):
    """What was asked of a device cannot be; the message says why in plain words."""


def key_by(seed: str) -> str:
    """The key of a seed."""
    return typed_key_of("desk.device", seed)


def make(system: System, name: str, user: User | None, now: datetime, seed: str = "") -> tuple[Device, str]:
    """A device of the system and its key, which nobody can read again but by the ``seed``. Raises NotADevice
    without a name."""
    if not name.strip():
        raise NotADevice(_("Give the device a name, such as the place where it hangs."))
    key = key_by(seed or new_seed())
    made = Device.objects.create(
        system=system, name=name.strip()[:80], key_print=key_print(key), key_begins=begins(key),
        made_at=now, made_by=user,
    )  # fmt: skip
    return made, key


def turn(device: Device, now: datetime, seed: str = "") -> str:
    """A new key; the old one opens nothing from now on. Raises NotADevice for a withdrawn device."""
    if device.withdrawn_at is not None:
        raise NotADevice(_("This device was withdrawn; make a new one."))
    key = key_by(seed or new_seed())
    device.key_print, device.key_begins, device.turned_at = key_print(key), begins(key), now
    device.save(update_fields=["key_print", "key_begins", "turned_at"])
    return key


def withdraw(device: Device, now: datetime) -> None:
    """It may post no more; what it posted stays."""
    if device.withdrawn_at is None:
        device.withdrawn_at = now
        device.save(update_fields=["withdrawn_at"])


def device_of(key: str) -> Device | None:
    """The device that shows this key, if it stands and its system is in use."""
    return (
        Device.objects.filter(key_print=key_print(key), withdrawn_at=None, system__replaced_on=None)
        .select_related("system__site")
        .first()
    )
