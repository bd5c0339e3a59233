"""The due list: find, sort, filter by date, place, size, reason and who changes it."""

import csv
import hashlib
import threading
from collections.abc import Callable
from datetime import date, timedelta
from itertools import chain
from typing import Any, cast

from django import forms
from django.core.cache import cache
from django.core.paginator import Page, Paginator
from django.db import connection
from django.db.models import F, Q, QuerySet
from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.vary import vary_on_headers

from equipment.access import signed_in
from equipment.look_up_sizes import as_size
from equipment.models import FilterSlot, User
from equipment.stations import quiet_stations
from schedules import due
from schedules.contacts import Contacts
from schedules.day_field import DayInput
from schedules.explain import loaded_share, say_day, state_word, tube_words
from schedules.models import Plan, Policy
from shared.cells import harmless
from shared.charts import small_gauge

A_PAGE = 60
COUNTED_FOR_S, _KNOWN_FOR_S = 60, 86_400
# Who asks for the same first count waits for it; other rows have, by their key, nearly always another lock.
_FIRST_COUNTS = [threading.Lock() for _ in range(64)]
SORTS = {
    "due": (gettext_lazy("due day"), (F("plan__due_on").asc(nulls_last=True), "name")),
    "place": (gettext_lazy("place"), ("system__site__city", "system__site__street", "name")),
    "size": (gettext_lazy("size"), ("short_m", "long_m", "depth_m", "name")),
    "customer": (gettext_lazy("customer"), ("system__site__customer__name", "name")),
    "reason": (
        gettext_lazy("reason"),
        (F("plan__reason").asc(nulls_last=True), F("plan__due_on").asc(nulls_last=True), "name"),
    ),
}


class DueFilter(forms.Form):
    """What the list is narrowed by."""

    find = forms.CharField(label=gettext_lazy("Name or address"), required=False)
    until = forms.DateField(label=gettext_lazy("Due until"), required=False, widget=DayInput())
    city = forms.CharField(label=gettext_lazy("Town"), required=False)
    size = forms.CharField(label=gettext_lazy("Size"), required=False)
    reason = forms.ChoiceField(
        label=gettext_lazy("Reason"),
        required=False,
        choices=[("", gettext_lazy("any")), *Plan.Reason.choices],
    )
    who = forms.ChoiceField(
        label=gettext_lazy("Changed by"),
        required=False,
        choices=[
            ("", gettext_lazy("anybody")),
            *FilterSlot.ChangedBy.choices,
            ("none", gettext_lazy("not said")),
        ],
    )
    sort = forms.ChoiceField(
        label=gettext_lazy("Sorted by"),
        required=False,
        choices=[(key, word) for key, (word, _order) in SORTS.items()],
    )

    def clean_size(self) -> str:
        """The size's own spelling, or a plain fault."""
        typed: str = self.cleaned_data["size"]
        if not typed:
            return ""
        size = as_size(typed)
        if size is None:
            raise forms.ValidationError(_("write a size such as 16x25x1"))
        return size.label


@vary_on_headers("HX-Request")  # or the back button shows the rows alone, out of the browser's cache
def page(request: HttpRequest) -> HttpResponse:
    """The list, sixty rows a page; a fixed number of queries however long it is."""
    form, wanted, rows = _asked(request)
    shown = _Pages(rows, A_PAGE).get_page(request.GET.get("page"))
    today, policy = due.today(timezone.now()), Policy.the()
    query = request.GET.copy()
    query.pop("page", None)
    context: dict[str, Any] = {
        "form": form,
        "page": shown,
        "rows": [_row(slot, today, policy) for slot in shown],
        **_said(shown, wanted, today),
        "new_desk": not wanted and not shown.paginator.count and not FilterSlot.objects.exists(),
        "query": query.urlencode(),
        "today": today,
    }
    rows_alone = "HX-Request" in request.headers and "HX-History-Restore-Request" not in request.headers
    if not rows_alone and signed_in(request).is_manager:
        context["quiet_stations"] = quiet_stations(today)
    template = "servicedesk/parts/due_rows.html" if rows_alone else "servicedesk/due_list.html"
    return render(request, template, context)


def sheet(request: HttpRequest) -> StreamingHttpResponse:
    """All rows of the list as it is narrowed and sorted, as CSV."""
    _form, _wanted, rows = _asked(request)
    today, lead_days = due.today(timezone.now()), Policy.the().lead_days
    out = csv.writer(_Line())
    lines = (out.writerow(_cells(slot, today, lead_days)) for slot in rows.iterator(chunk_size=2000))
    answer = StreamingHttpResponse(
        chain([out.writerow(_COLUMNS)], lines), content_type="text/csv; charset=utf-8"
    )
    answer["Content-Disposition"] = 'attachment; filename="due.csv"'
    return answer


_COLUMNS = (
    "filter_slot", "customer", "site", "address", "location", "nominal_size", "due_on", "state", "reason",
    "p10_on", "p50_on", "p90_on", "changed_by",
)  # fmt: skip


class _Line:
    """What csv writes to: it hands each line back."""

    def write(self, line: str) -> str:
        return line


def _cells(slot: FilterSlot, today: date, lead_days: int) -> list[object]:
    plan, site = getattr(slot, "plan", None), slot.system.site
    word, _shape = state_word(plan, today, lead_days)
    days = (plan.due_on, plan.p10_on, plan.p50_on, plan.p90_on) if plan else (None,) * 4
    due_on, *span = ("" if day is None else day.isoformat() for day in days)
    names = (slot.name, site.customer.name, site.name, site.address, slot.location)
    reason = plan.reason if plan else ""
    return [*map(harmless, names), slot.nominal_size, due_on, word, reason, *span, slot.changed_by]


def _asked(request: HttpRequest) -> tuple[DueFilter, dict[str, Any], QuerySet[FilterSlot]]:
    """The form, what it says, and the filters that answer, in order; a technician's those of the homes of
    about now, or the list would carry the whole desk off."""
    form = DueFilter(request.GET or None)
    wanted = form.cleaned_data if form.is_valid() else {}
    rows = _in_use().filter(_narrowed(wanted)).order_by(*SORTS[wanted.get("sort") or "due"][1])
    user = signed_in(request)
    if user.role == User.Role.TECHNICIAN:
        rows = rows.filter(system__site__in=Contacts(user, timezone.now()).near)
    return form, wanted, rows


def _in_use() -> QuerySet[FilterSlot]:
    """On a large desk those that have a plan, which all have within seconds: then the database walks along
    its index of due days and looks at no more filters than are shown."""
    rows = FilterSlot.objects.in_use().select_related("system__site__customer", "plan")
    return rows.filter(plan__isnull=False) if due.is_large() else rows


def _count(rows: QuerySet[FilterSlot]) -> int:
    """How many; of a large desk as it was last counted that day, since counting takes longer than all else on
    the page: nobody waits for it but who asks first, and what is older than a minute is counted anew behind
    the page."""
    if not due.is_large():
        return rows.count()
    key = _key(rows)
    anew, known = cache.add(f"{key}-anew", True, COUNTED_FOR_S), cache.get(key)
    if known is None:
        with _FIRST_COUNTS[int(key[-8:], 16) % len(_FIRST_COUNTS)]:
            known = cache.get(key)
            known = _count_anew(rows, key) if known is None else known
    elif anew:
        behind_the_page(_count_anew, rows, key)
    return int(known)


def _key(rows: QuerySet[FilterSlot]) -> str:
    asked = hashlib.sha256(str(rows.order_by().values("pk").query).encode()).hexdigest()
    return f"due-count-{asked}"


def behind_the_page(work: Callable[..., object], *args: object) -> None:
    """Do ``work`` in a thread with a connection of its own."""

    def done() -> None:
        try:
            work(*args)
        finally:
            connection.close()

    threading.Thread(target=done, daemon=True).start()


def _count_anew(rows: QuerySet[FilterSlot], key: str) -> int:
    count = rows.count()
    cache.set(key, count, _KNOWN_FOR_S)
    return count


class _Pages(Paginator):  # type: ignore[type-arg]
    """Pages of rows that are counted as above. What was counted some time ago hides no row: a page shows what
    is there, and counts at least that."""

    def page(self, number: int | str) -> Page[FilterSlot]:
        """The rows of a page, and one more looked for behind them."""
        number = self.validate_number(number)
        before = (number - 1) * self.per_page
        rows = list(self.object_list[before : before + self.per_page + 1])
        if before + len(rows) > self.count:
            self.count = before + len(rows)
            self.__dict__.pop("num_pages", None)
            cache.set(_key(self.object_list), self.count, _KNOWN_FOR_S)  # type: ignore[arg-type]
        return Page(rows[: self.per_page], number, self)

    @cached_property
    def count(self) -> int:
        """How many rows there are."""
        return _count(self.object_list)  # type: ignore[arg-type]


def _narrowed(wanted: dict[str, Any]) -> Q:
    found = Q()
    for word in (wanted.get("find") or "").split()[:6]:
        found &= (
            Q(system__site__customer__name__icontains=word)
            | Q(system__site__street__icontains=word)
            | Q(system__site__city__icontains=word)
            | Q(name__icontains=word)
        )
    if wanted.get("until"):
        found &= Q(plan__due_on__lte=wanted["until"])
    if wanted.get("city"):
        found &= Q(system__site__city__icontains=wanted["city"])
    for key, field in (("size", "nominal_size"), ("reason", "plan__reason")):
        if wanted.get(key):
            found &= Q(**{field: wanted[key]})
    if wanted.get("who"):
        found &= Q(changed_by="" if wanted["who"] == "none" else wanted["who"])
    return found


def _row(slot: FilterSlot, today: date, policy: Policy) -> dict[str, Any]:
    plan = getattr(slot, "plan", None)
    share = loaded_share(plan)
    word, shape = state_word(plan, today, policy.lead_days)
    drawing = ""
    if share is not None:
        said = _("%(n)d %% of the way to its limit") % {"n": round(100 * max(share, 0))}
        drawing = small_gauge(said, tube_words(), share)
    span = ""
    if plan and plan.p10_on and plan.p90_on and plan.p90_on > plan.as_of:
        span = _("limit %(low)s to %(high)s") % {"low": say_day(plan.p10_on), "high": say_day(plan.p90_on)}
    return {"slot": slot, "plan": plan, "state": word, "shape": shape, "gauge": drawing, "span": span}


def _said(shown: Page[FilterSlot], wanted: dict[str, Any], today: date) -> dict[str, str]:
    """A sentence that answers, and how many of how many rows are below it where it counts others."""
    count = shown.paginator.count
    counted, said = _counted(shown.paginator, wanted, today)
    numbers = {"first": shown.start_index(), "last": shown.end_index(), "all": f"{count:,}"}
    rows = ""
    if shown.paginator.num_pages > 1:
        rows = _("Rows %(first)s to %(last)s of %(all)s.") % numbers
    elif counted != count:
        rows = _("The whole list holds %(all)s.") % numbers
    return {"title": said, "rows_said": rows}


def _counted(rows: "Paginator[FilterSlot]", wanted: dict[str, Any], today: date) -> tuple[int, str]:
    """What the sentence counts, and the sentence."""
    count, every = rows.count, cast(QuerySet[FilterSlot], rows.object_list)
    if any(wanted.get(key) for key in ("find", "city", "size", "reason", "who")):
        text = ngettext("%(n)s filter answers to this", "%(n)s filters answer to this", count)
        return count, text % {"n": f"{count:,}"}
    if wanted.get("until"):
        text = ngettext("%(n)s filter is due by %(day)s", "%(n)s filters are due by %(day)s", count)
        return count, text % {"n": f"{count:,}", "day": say_day(wanted["until"])}
    soon = _count(every.filter(plan__due_on__lte=today + timedelta(days=14)))
    text = ngettext("%(n)s filter is due before %(day)s", "%(n)s filters are due before %(day)s", soon)
    return soon, text % {"n": f"{soon:,}", "day": say_day(today + timedelta(days=15))}
