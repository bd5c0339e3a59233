"""Why the search left a stop out, as a dispatcher would say it."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

_BY_BEGINNING = {
    "its windows lie outside": gettext_lazy("The hours asked for lie outside the hours of work."),
    "it cannot be reached": gettext_lazy(
        "Nobody could get there within the hours asked for and be back by the end of the day."
    ),
    "the other stops fill": gettext_lazy("The other stops fill the day."),
    "there is no way": gettext_lazy("There is no way to drive there and back."),
    "there is no technician": gettext_lazy("Nobody works on these days."),
    "its worth of": gettext_lazy("It may wait: going there now would cost more driving than it saves later."),
}


def said_plainly(why: str) -> str:
    """A sentence for a reason of schedules.planning.routing; what it does not know is passed on."""
    for beginning, said in _BY_BEGINNING.items():
        if why.startswith(beginning):
            return str(said)
    if why.startswith("no technician has"):
        return _("Nobody has what it takes: %(what)s.") % {"what": why.removeprefix("no technician has ")}
    return f"{why[:1].upper()}{why[1:].rstrip('.')}." if why else ""
