"""Keys for programs: made, withdrawn, recognised."""

from datetime import datetime, timedelta

from django.db.models import QuerySet

from equipment.models import ApiKey, Device, KeptAnswer, User
from shared.keys import begins, key_print, new_seed, typed_key_of

LASTS = timedelta(days=365)
# So long a write that named itself is known again.
ANSWERS_KEPT_FOR = timedelta(days=2)
# The time of the last use is written down no oftener.
_NOTED_EVERY = timedelta(minutes=5)


def make(
    user: User, name: str, now: datetime, lasts: timedelta = LASTS, seed: str = ""
) -> tuple[ApiKey, str]:
    """A key of the user and its text, which nobody can read again but by the ``seed``."""
    key = key_by(seed or new_seed())
    made = ApiKey.objects.create(
        user=user, name=name.strip()[:80], key_print=key_print(key), key_begins=begins(key),
        made_at=now, expires_at=now + lasts,
    )  # fmt: skip
    return made, key


def key_by(seed: str) -> str:
    """The key of a seed."""
    return typed_key_of("desk.program", seed)


def withdraw(key: ApiKey, now: datetime) -> None:
    """It opens nothing from now on."""
    if key.withdrawn_at is None:
        key.withdrawn_at = now
        key.save(update_fields=["withdrawn_at"])


def seen_by(user: User, now: datetime) -> QuerySet[ApiKey]:
    """The keys that stand: one's own, and for whoever leads the desk everybody's."""
    rows = ApiKey.objects.filter(withdrawn_at=None, expires_at__gt=now).select_related("user")
    return rows if user.is_manager else rows.filter(user=user)


def user_of(key: str, now: datetime) -> User | None:
    """Whose key it is, if it stands and its user is active."""
    row = (
        ApiKey.objects.filter(
            key_print=key_print(key), withdrawn_at=None, expires_at__gt=now, user__is_active=True
        )
        .select_related("user")
        .first()
    )
    if row is None:
        return None
    if row.used_at is None or now - row.used_at > _NOTED_EVERY:
        ApiKey.objects.filter(pk=row.pk).update(used_at=now)
    return row.user


def was_ours(key: str) -> bool:
    """Whether it was ever a key of the desk's, a program's or a device's."""
    told = key_print(key)
    return ApiKey.objects.filter(key_print=told).exists() or Device.objects.filter(key_print=told).exists()


def forget_answers(now: datetime) -> int:
    """Take away the answers that nobody may ask for again; how many."""
    gone, _by_model = KeptAnswer.objects.filter(at__lte=now - ANSWERS_KEPT_FOR).delete()
    return gone
