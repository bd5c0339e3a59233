"""What the record tells of work that stands still."""

from collections.abc import Iterator
from datetime import datetime, timedelta

from schedules import due
from schedules.models import MailServer, Notice
from schedules.sending import CLAIM_LASTS
from servicedesk.doctor.findings import Finding, look, well, wrong

LATE = timedelta(hours=1)


def letters_under_way(now: datetime) -> Iterator[Finding]:
    """A mail server that takes none, and letters whose sender died."""
    server = MailServer.objects.filter(pk=1).exclude(since=None).first()
    if server and server.since:
        since = f"{server.since:%Y-%m-%d %H:%M}"
        yield wrong("Letters", f"the mail server takes none since {since} UTC; the Letters page says why.")
    lost = Notice.objects.filter(state=Notice.State.CLAIMED, claimed_at__lt=now - CLAIM_LASTS).count()
    if lost:
        yield look("Letters", f"{lost} were cut off while being sent; does a worker run, and its clock?")


def swept(now: datetime) -> Finding:
    """Whether the sweep of a small desk keeps up with facts, weather and days."""
    late = due.stale(now).filter(facts_changed_at__lt=now - LATE).count()
    if late:
        return look("Dates", f"{late} are not of today; does a worker run, and its clock?")
    return well("Dates", "are all of today.")
