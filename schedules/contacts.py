"""Whose telephone, mail and notes staff may read: a manager everybody's; a technician those of homes with a
visit of their own from yesterday until four days ahead, among which is the next working day also over a long
weekend. What fits, and where, is looked up of any home.
"""

from datetime import datetime, timedelta
from functools import cached_property

from django.db.models import QuerySet

from equipment.access import visible_sites
from equipment.models import Site, User
from schedules import due
from schedules.models import Visit

BACK, AHEAD = timedelta(days=1), timedelta(days=4)


class Contacts:
    """The sites whose people ``user`` may reach at ``now``; asked with ``in`` of a site's key.

    One query, when it is first asked of a technician.
    """

    def __init__(self, user: object, now: datetime) -> None:
        self.user, self.now = user, now

    def __contains__(self, site: object) -> bool:
        return self.everybody or site in self.near

    @property
    def everybody(self) -> bool:
        """Whether it is all homes."""
        return isinstance(self.user, User) and self.user.is_manager

    @cached_property
    def near(self) -> frozenset[int]:
        """The homes with a visit of theirs near today that was not called off; none but for technicians."""
        if not isinstance(self.user, User) or self.user.role != User.Role.TECHNICIAN:
            return frozenset()
        today = due.today(self.now)
        rows = Visit.objects.filter(technician__user=self.user.pk, day__range=(today - BACK, today + AHEAD))
        return frozenset(rows.exclude(state=Visit.State.CANCELLED).values_list("site", flat=True))


def listed_sites(user: User, now: datetime) -> QuerySet[Site]:
    """The homes that a list for programs holds: of a technician those whose people they may reach, so that no
    key carries off the whole desk. A filter, system or home asked for by its name is found whichever home."""
    seen = visible_sites(user)
    return seen.filter(pk__in=Contacts(user, now).near) if user.role == User.Role.TECHNICIAN else seen
