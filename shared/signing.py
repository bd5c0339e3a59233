"""Signed tokens: one salt a purpose, so that a token of one kind opens nothing else."""

from datetime import timedelta
from enum import StrEnum

from django.core import signing


class Purpose(StrEnum):
    """What a token may be used for."""

    ANSWER = "desk.answer"
    STOP_MAIL = "desk.stop-mail"
    TIMES = "desk.times"


class BadToken(ValueError):
    """Forged, altered or of another purpose."""


class SpentToken(BadToken):
    """Genuine once, but too old now."""


def make(purpose: Purpose, value: str) -> str:
    """A URL-safe token that carries ``value`` for ``purpose``."""
    return signing.TimestampSigner(salt=purpose).sign_object(value)


def read(purpose: Purpose, token: str, max_age: timedelta) -> str:
    """The value that ``make`` signed; SpentToken when older than ``max_age``, else BadToken."""
    try:
        value = signing.TimestampSigner(salt=purpose).unsign_object(token, max_age=max_age)
    except signing.SignatureExpired:
        raise SpentToken("this link is too old") from None
    except (signing.BadSignature, ValueError, UnicodeError):
        raise BadToken("this link is not one of ours") from None
    if not isinstance(value, str):
        raise BadToken("this link is not one of ours")
    return value
