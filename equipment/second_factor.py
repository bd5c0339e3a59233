"""A second factor for staff: one-time codes of an app on their phone (RFC 6238).

Of the secret that desk and phone share only a seed is kept, which makes it again with the desk's secret key:
the database alone opens nothing. A code counts once. Wrong ones are counted for the account, and apart
from it for each browser in which a right one was shown: who holds a link alone can hold up new browsers, and
never the one that its owner uses.
"""

from base64 import b32encode
from datetime import datetime, timedelta

import pyotp
from django.db import transaction
from django.db.models import Q
from pyotp.utils import strings_equal

from equipment.models import KnownBrowser, User
from shared.keys import key_print, new_key, raw_key_of

_PURPOSE = "desk.second-factor"
STEP_S = 30
MOST_WRONG, WITHIN = 10, timedelta(minutes=10)
KNOWN_FOR = timedelta(days=180)
# Codes of the step before and after do too: clocks of phones are some seconds off.
_STEPS_OFF = (-1, 0, 1)


class WrongCode(ValueError):
    """The code is not the one of now, or it was used already."""


class TooMany(WrongCode):
    """So many wrong ones came that none is looked at for a while; so nobody goes on guessing."""


def is_on(user: User) -> bool:
    """Whether the account wants a code after its link; a household's never does."""
    return user.second_since is not None and not user.is_homeowner


def secret(seed: str) -> str:
    """What app and desk share, 160 bits in base 32."""
    return b32encode(raw_key_of(_PURPOSE, seed)[:20]).decode()


def address(user: User, seed: str, desk: str) -> str:
    """The same as an app reads it from a picture."""
    return _codes(seed).provisioning_uri(name=user.get_username(), issuer_name=desk or "desk")


def turn_on(user: User, seed: str, code: str, now: datetime, browser: str = "") -> None:
    """Want a code of this seed from now on, once one was shown. Raises WrongCode, TooMany."""
    step = _judged(user, seed, code, now, browser)
    row = User.objects.filter(pk=user.pk, second_since=None)
    row.update(second_since=now, second_seed=seed, second_step=step)


def turn_off(user: User) -> None:
    """Want none any more; a later secret will be another."""
    User.objects.filter(pk=user.pk).update(second_since=None, second_seed="", second_step=None)
    KnownBrowser.objects.filter(user=user).delete()


def know(user: User, browser: str, now: datetime) -> str:
    """What the browser's cookie is to hold, once a right code was shown in it; the same where it is known."""
    mine = KnownBrowser.objects.filter(user=user)
    mine.filter(made_at__lt=now - KNOWN_FOR).delete()
    if browser and mine.filter(cookie_print=key_print(browser)).exists():
        return browser
    fresh = new_key()
    KnownBrowser.objects.create(user=user, cookie_print=key_print(fresh), made_at=now)
    return fresh


def use(user: User, code: str, now: datetime, browser: str = "") -> None:
    """Take a code, once; ``browser`` is what its cookie holds. Raises WrongCode, TooMany."""
    step = _judged(user, user.second_seed, code, now, browser)
    fresh = User.objects.filter(Q(second_step=None) | Q(second_step__lt=step), pk=user.pk)
    if not fresh.update(second_step=step):
        raise WrongCode


def _judged(user: User, seed: str, code: str, now: datetime, browser: str) -> int:
    """The step of a code that is right; wrong ones are counted, in the database, whoever tries."""
    with transaction.atomic():
        row = _counter(user, browser, now)
        begun = row.second_wrong_since
        if begun is None or now - begun > WITHIN:
            row.second_wrong, row.second_wrong_since = 0, now
        if row.second_wrong >= MOST_WRONG:
            raise TooMany
        step = _step_of(seed, code, now) if seed else None
        row.second_wrong += step is None
        row.save(update_fields=["second_wrong", "second_wrong_since"])
    if step is None:
        raise WrongCode
    return step


def _counter(user: User, browser: str, now: datetime) -> User | KnownBrowser:
    """Where wrong codes are counted, held till the transaction ends: with the browser if it is known."""
    known = KnownBrowser.objects.select_for_update().filter(user=user, made_at__gte=now - KNOWN_FOR)
    row = known.filter(cookie_print=key_print(browser)).first() if browser else None
    return row or User.objects.select_for_update().get(pk=user.pk)


def _step_of(seed: str, code: str, now: datetime) -> int | None:
    typed, this, codes = "".join(code.split()), int(now.timestamp()) // STEP_S, _codes(seed)
    near = (this + off for off in _STEPS_OFF)
    return next((step for step in near if strings_equal(codes.generate_otp(step), typed)), None)


def _codes(seed: str) -> pyotp.TOTP:
    return pyotp.TOTP(secret(seed), interval=STEP_S)
