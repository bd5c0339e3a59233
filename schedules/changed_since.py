"""A visit that somebody else changed after its page was shown: told, and not written over unseen."""

from django.utils.translation import gettext as _

from schedules.bookable import NotBookable
from schedules.models import Visit
from schedules.visit_words import visit_sentence


def as_shown(visit: Visit) -> str:
    """What a form carries of the visit that it was shown for: whose, when, and how far it is."""
    told = (visit.state, visit.technician_id, visit.day, visit.window_from, visit.window_to)
    return "|".join("" if part is None else str(part) for part in told)


def refuse_changed(visit: Visit, shown: str) -> Visit:
    """The visit as it is now, held till the transaction ends. Raises NotBookable where it is not what was
    ``shown`` (empty: not told); to be called inside of a transaction."""
    now = Visit.objects.select_for_update(of=("self",)).select_related("site__customer", "technician")
    current = now.get(pk=visit.pk)
    if shown and shown != as_shown(current):
        told = {"who": _who(current), "sentence": visit_sentence(current)}
        raise NotBookable(
            _("Meanwhile %(who)s changed this visit: %(sentence)s. It was left so; look again.") % told
        )
    return current


def _who(visit: Visit) -> str:
    last = visit.history.select_related("history_user").first()
    user = last.history_user if last else None
    return (user.get_full_name() or str(user)) if user else _("somebody")
