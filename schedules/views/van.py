"""The van's list of a day, ticked off as it is loaded."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone

from equipment.access import signed_in, units_of
from equipment.fields import whole_number
from schedules.van_list import MOST, tick, van_list
from schedules.views.day import day_or_404


def page(request: HttpRequest, technician: int, day: str) -> HttpResponse:
    """What goes into the van; POST ticks one line off, or takes the tick back."""
    somebody, on = day_or_404(request, technician, day)
    now, user = timezone.now(), signed_in(request)
    lines = van_list(somebody, on, now, units_of(user))
    if request.method == "POST":
        line = next((one for one in lines if one.key == request.POST.get("line")), None)
        count = whole_number(request.POST.get("count")) or 0
        if line is not None and 0 <= count <= MOST:
            tick(somebody, on, line, count, user, now)
        return redirect("van", technician, day)
    context = {
        "technician": somebody,
        "day": on,
        "lines": lines,
        "left": sum(line.loaded is None or line.loaded < line.need for line in lines),
    }
    return render(request, "schedules/van.html", context)
