"""The letter with the link that signs somebody in."""

from datetime import datetime, timedelta

from equipment.models import SiteRole, User
from schedules.emails import account_of
from schedules.models import Notice

MOST_AN_HOUR = 5


def write_link(email: str, now: datetime) -> None:
    """Write it to the address on record, if there is one; once a minute, and some times an hour, to an
    address, whoever presses."""
    user = (account_of(email) or _household_account(email)) if email else None
    if user is None:
        return
    # To the address on record, never the one typed: databases find "alike" what mail servers tell apart.
    to = user.email or (user.person.email if user.person else "")
    lately = Notice.objects.filter(
        kind=Notice.Kind.SIGN_IN, key__startswith=f"sign-in-{user.pk}-", send_at__gt=now - timedelta(hours=1)
    )
    if lately.count() >= MOST_AN_HOUR:
        return
    # One letter a minute to an address, however often the button is pressed.
    key = f"sign-in-{user.pk}-{now:%Y%m%d%H%M}"
    Notice.objects.get_or_create(
        key=key,
        defaults={"kind": Notice.Kind.SIGN_IN, "person": user.person, "sent_to": to, "send_at": now},
    )


def _household_account(email: str) -> User | None:
    """An account for somebody who lives, owns or pays at a home on record and has none yet."""
    here = SiteRole.objects.filter(until=None, person__email__iexact=email).select_related("person")
    role = here.order_by("pk").first()
    if role is None:
        return None
    account, _new = User.objects.get_or_create(
        username=f"person-{role.person_id}", defaults={"role": User.Role.HOMEOWNER, "person": role.person}
    )
    return account if account.is_active else None
