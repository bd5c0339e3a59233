"""Which visits a user may open."""

from django.http import Http404

from equipment.models import User
from schedules.models import Visit


def visit_or_404(user: User, pk: int) -> Visit:
    """The visit for managers and for whoever it is given to; somebody else's is as good as not there."""
    visit = Visit.objects.select_related("site__customer", "technician").filter(pk=pk).first()
    if visit is None:
        raise Http404
    if not user.is_manager and (visit.technician is None or visit.technician.user_id != user.pk):
        raise Http404
    return visit
