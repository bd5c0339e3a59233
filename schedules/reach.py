"""Whether a person can be written to: by mail, about what, and why not."""

from collections.abc import Iterable

from django.utils.translation import gettext as _

from equipment.models import Person
from schedules.models import Notice, RestedAddress

# What a person can stop, by the kinds of letter; the sign-in link is asked for each time.
FILTERS, VISITS, RECORD = "filters", "visits", "record"
SUBJECT_OF = {
    Notice.Kind.FILTERS_DUE.value: FILTERS,
    Notice.Kind.FOLLOW_UP.value: FILTERS,
    Notice.Kind.VISIT.value: VISITS,
    Notice.Kind.TIMES.value: VISITS,
    Notice.Kind.SHUT.value: VISITS,
    Notice.Kind.DONE.value: RECORD,
}
CONSENT = {FILTERS: "wants_filter_mail", VISITS: "wants_visit_mail", RECORD: "wants_record_mail"}


class Rested:
    """Addresses that refused letters, looked up once for many people."""

    def __init__(self, people: Iterable[Person | None]) -> None:
        emails = {person.email.lower() for person in people if person and person.email}
        rows = RestedAddress.objects.filter(email__in=emails, lifted_at=None)
        self._why = {row.email: row.why for row in rows}

    def why(self, person: Person) -> str:
        """What its mailbox said; empty where it takes letters."""
        return self._why.get(person.email.lower(), "")


def why_unwanted(person: Person | None, subject: str) -> str:
    """That the person stopped messages about ``subject``; empty where they come."""
    if person is None or getattr(person, CONSENT[subject]):
        return ""
    return {
        FILTERS: _("does not want filter mail"),
        VISITS: _("does not want visit mail"),
        RECORD: _("does not want to hear what was done"),
    }[subject]


def why_no_mail(person: Person | None, subject: str, rested: Rested | None = None) -> str:
    """Why no letter about ``subject`` can go to the person; empty where one can."""
    if person is None:
        return (
            _("nobody is named as the filter changer") if subject == FILTERS else _("nobody is named there")
        )
    if not person.email:
        return _("no mail address")
    if unwanted := why_unwanted(person, subject):
        return unwanted
    why = (rested or Rested([person])).why(person)
    return _("the mailbox refused a letter: %(why)s") % {"why": why} if why else ""
