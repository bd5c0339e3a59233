"""A day put in order as somebody asks for it."""

from datetime import date, datetime

from django.utils.translation import gettext as _

from equipment.models import Desk
from schedules.bookable import NotBookable
from schedules.models import Technician
from schedules.routes import DayPlan, order_day
from shared import clock


def put_in_order(technician: Technician, on: date, now: datetime) -> DayPlan:
    """The day of today or later, in order. Raises NotBookable for one that is past, NoStart."""
    if on < clock.local_day(now, Desk.the().zone):
        raise NotBookable(_("That day is past: there is nothing left to put in order."))
    return order_day(technician, on, now)
