"""Keys for programs: made, withdrawn, recognised."""

from datetime import datetime, timedelta

from equipment.models import ApiKey, KeptAnswer, User
from shared.keys import begins, key_print, new_key

LASTS = timedelta(days=365)
# So long a write that named itself is known again.
ANSWERS_KEPT_FOR = timedelta(days=2)
# The time of the last use is written down no oftener.
_NOTED_EVERY = timedelta(minutes=5)


def make(user: User, name: str, now: datetime, lasts: timedelta = LASTS) -> tuple[ApiKey, str]:
    """A key of the user and its text, which nobody can read again."""
    key = new_key()
    made = ApiKey.objects.create(
        user=user, name=name.strip()[:80], key_print=key_print(key), key_begins=begins(key),
        made_at=now, expires_at=now + lasts,
    )  # fmt: skip
    return made, key


def withdraw(key: ApiKey, now: datetime) -> None:
    """It opens nothing from now on."""
    if key.withdrawn_at is None:
        key.withdrawn_at = now
        key.save(update_fields=["withdrawn_at"])


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


def forget_answers(now: datetime) -> int:
    """Take away the answers that nobody may ask for again; how many."""
    gone, _by_model = KeptAnswer.objects.filter(at__lte=now - ANSWERS_KEPT_FOR).delete()
    return gone
