"""Photographs of filters: taken in from a telephone, shown, withdrawn."""

from datetime import datetime
from uuid import UUID

from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _

from equipment.access import signed_in, visible_sites
from equipment.fields import whole_number
from equipment.models import FilterSlot, User
from equipment.record import NotRecordable
from schedules.field_entries import is_theirs
from schedules.models import FieldEntry, Photograph, Visit
from schedules.photographs import Taken, keep, keep_beside, known, moment, withdraw
from shared import photographs


def add(request: HttpRequest) -> HttpResponse:
    """Take in ``file`` of ``slot`` at ``visit``, named ``id`` by the telephone that took it ``at`` and
    ``sent_at`` (ms of its clock). JSON {id, state: taken or refused, said}; the same id again is answered
    alike and stored once. One whose visit or filter is gone is stored with its ``entry``; 404 where that is
    not the asker's either, 413 for too many bytes, 422 for what is no photograph or cannot be kept."""
    user, uid = signed_in(request), _uuid(request.POST.get("id"))
    if uid is None:
        return _answer(None, "refused", _("The photograph came without its id."), 422)
    visit = _own_visit(user, whole_number(request.POST.get("visit")))
    slot = FilterSlot.objects.filter(
        pk=whole_number(request.POST.get("slot")), system__site=visit.site_id if visit else None
    ).first()
    entry = _uuid(request.POST.get("entry"))
    told = FieldEntry.objects.filter(uid=entry, user=user).first() if entry else None
    if told is None and (visit is None or slot is None):
        said = _("This visit or filter is not on record any more, or not among yours.")
        return _answer(uid, "refused", said, 404)
    try:
        if visit is not None and slot is not None:
            if known(uid, slot, visit) is None:
                taken = Taken(uid, slot, visit, _taken_at(request, told), entry)
                keep(taken, _picture(request), user, timezone.now())
        elif told is not None:
            keep_beside(uid, told, _taken_at(request, told), _picture(request), user, timezone.now())
    except photographs.TooLarge as error:
        return _answer(uid, "refused", str(error), 413)
    except (photographs.NotAPhotograph, NotRecordable) as error:
        return _answer(uid, "refused", str(error), 422)
    return _answer(uid, "taken", _("The photograph is on record."), 200)


def _picture(request: HttpRequest) -> photographs.Photograph:
    file = request.FILES.get("file")
    if file is None:
        raise photographs.NotAPhotograph(_("No file came with it: choose the photograph again."))
    photographs.refuse_size(file.size or 0)
    return photographs.clean(file.read())


def _taken_at(request: HttpRequest, entry: FieldEntry | None) -> datetime:
    """By the entry that it came with, which was written by the same clock; else by when it was sent."""
    at, sent_at = (whole_number(request.POST.get(name)) or None for name in ("at", "sent_at"))
    if entry is not None and at is not None:
        return moment(at, round(entry.pressed_at.timestamp() * 1000), entry.at)
    return moment(at, sent_at, timezone.now())


def _own_visit(user: User, pk: int) -> Visit | None:
    """The visit if it is the technician's, or was until somebody gave it away; managers see to all."""
    visit = Visit.objects.filter(pk=pk).first()
    return visit if visit is not None and is_theirs(visit, user) else None


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None


def _answer(uid: UUID | None, state: str, said: str, status: int) -> JsonResponse:
    return JsonResponse({"id": str(uid or ""), "state": state, "said": said}, status=status)


def show(request: HttpRequest, pk: int) -> HttpResponse:
    """The picture, to whoever sees its home, or to managers where it has none; 404 for one withdrawn."""
    user = signed_in(request)
    here = Q(slot__system__site__in=visible_sites(user))
    seen = Photograph.objects.filter(
        here | Q(slot=None) if user.is_manager else here, pk=pk, withdrawn_at=None
    )
    uid = seen.values_list("uid", flat=True).first()
    if uid is None:
        raise Http404
    etag = f'"{uid}"'
    answer = get_conditional_response(request, etag=etag)
    if answer is None:
        jpeg = seen.values_list("jpeg", flat=True).first()
        if jpeg is None:
            raise Http404
        answer = HttpResponse(bytes(jpeg), content_type="image/jpeg")
    answer["ETag"] = etag
    # Asked about each time, since it may have been withdrawn and the telephone may have changed hands.
    answer["Cache-Control"] = "private, no-cache"
    return answer


def gone(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw it for good."""
    photograph = get_object_or_404(Photograph.objects.defer("jpeg"), pk=pk)
    withdraw(photograph, signed_in(request), timezone.now())
    messages.success(request, _("The photograph is withdrawn."))
    return redirect("filter", photograph.slot_id) if photograph.slot_id else redirect("findings")
