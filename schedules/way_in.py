"""Who may read how to get into a home: managers always, technicians on the day of their visit there."""

from datetime import datetime
from functools import cached_property

from equipment.models import User
from schedules import due
from schedules.models import Visit


class WaysIn:
    """The sites whose notes about the way in ``user`` may read at ``now``; asked with ``in`` of a site's key.

    One query, when it is first asked of a technician.
    """

    def __init__(self, user: object, now: datetime) -> None:
        self.user, self.now = user, now

    def __contains__(self, site: object) -> bool:
        if not isinstance(self.user, User) or self.user.is_homeowner:
            return False
        return self.user.is_manager or site in self._today

    @cached_property
    def _today(self) -> set[int]:
        mine = Visit.objects.filter(
            technician__user=self.user, day=due.today(self.now), state__in=Visit.ON_A_DAY
        )
        return set(mine.values_list("site", flat=True))
