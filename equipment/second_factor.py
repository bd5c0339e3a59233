"""A second factor for staff: one-time codes of an app on their phone (RFC 6238).

Of the secret that desk and phone share only a seed is kept, which makes it again with the desk's secret key:
the database alone opens nothing. A code counts once.
"""

from base64 import b32encode
from datetime import datetime

import pyotp
from django.db.models import Q
from pyotp.utils import strings_equal

from equipment.models import User
from shared.keys import new_seed, raw_key_of

_PURPOSE = "desk.second-factor"
STEP_S = 30
# Codes of the step before and after do too: clocks of phones are some seconds off.
_STEPS_OFF = (-1, 0, 1)


class WrongCode(ValueError):
    """The code is not the one of now, or it was used already."""


def is_on(user: User) -> bool:
    """Whether the account wants a code after its link."""
    return user.second_since is not None


def begin(user: User) -> None:
    """Give the account a seed to set up with, unless it has one; it wants no code yet."""
    User.objects.filter(pk=user.pk, second_seed="").update(second_seed=new_seed())
    user.refresh_from_db(fields=["second_seed"])


def secret(user: User) -> str:
    """What app and desk share, 160 bits in base 32."""
    return b32encode(raw_key_of(_PURPOSE, user.second_seed)[:20]).decode()


def address(user: User, desk: str) -> str:
    """The same as an app reads it from a picture."""
    return _codes(user).provisioning_uri(name=user.get_username(), issuer_name=desk or "desk")


def turn_on(user: User, code: str, now: datetime) -> None:
    """Want a code from now on, once one of the new secret was shown. Raises WrongCode."""
    use(user, code, now)
    User.objects.filter(pk=user.pk, second_since=None).update(second_since=now)


def turn_off(user: User) -> None:
    """Want none any more; a later secret will be another."""
    User.objects.filter(pk=user.pk).update(second_since=None, second_seed="", second_step=None)


def use(user: User, code: str, now: datetime) -> None:
    """Take a code, once. Raises WrongCode."""
    typed = "".join(code.split())
    this = int(now.timestamp()) // STEP_S
    codes = _codes(user)
    step = next(
        (this + off for off in _STEPS_OFF if strings_equal(codes.generate_otp(this + off), typed)), None
    )
    fresh = User.objects.filter(Q(second_step=None) | Q(second_step__lt=step or 0), pk=user.pk)
    if step is None or not user.second_seed or not fresh.update(second_step=step):
        raise WrongCode


def _codes(user: User) -> pyotp.TOTP:
    return pyotp.TOTP(secret(user), interval=STEP_S)
