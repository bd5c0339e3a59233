"""Who may do what: one table of every named address and method, and the gate that keeps it.

An address without a row is shut to everybody. Which homes of an open page a homeowner sees is the
view's own business (``equipment.access``).
"""

from collections.abc import Callable
from enum import Flag, auto
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from equipment.models import User
from servicedesk.problems import problem


class Who(Flag):
    """The kinds of visitor."""

    STRANGER = auto()
    HOMEOWNER = auto()
    TECHNICIAN = auto()
    MANAGER = auto()
    DEVICE = auto()


NOBODY = Who(0)
STAFF = Who.MANAGER | Who.TECHNICIAN
SIGNED_IN = STAFF | Who.HOMEOWNER
EVERYBODY = SIGNED_IN | Who.STRANGER

# name of the address: method -> who may. HEAD goes with GET.
TABLE: dict[str, dict[str, Who]] = {
    "start": {"GET": EVERYBODY},
    "alive": {"GET": EVERYBODY},
    "ready": {"GET": EVERYBODY},
    "metrics": {"GET": EVERYBODY},
    "worker": {"GET": EVERYBODY},
    "no-signal": {"GET": EVERYBODY},
    "sign-in": {"GET": EVERYBODY, "POST": EVERYBODY},
    "sign-in-by-link": {"GET": EVERYBODY, "POST": EVERYBODY},
    "sign-out": {"POST": SIGNED_IN},
    "units": {"POST": SIGNED_IN},
    "keys": {"GET": STAFF, "POST": STAFF},
    "key-withdrawn": {"POST": STAFF},
    "second": {"GET": STAFF, "POST": STAFF},
    "second-set-up": {"GET": STAFF, "POST": STAFF},
    "due-list": {"GET": STAFF},
    "due-sheet": {"GET": STAFF},
    "look-up": {"GET": STAFF},
    "filter": {"GET": SIGNED_IN},
    "what-fits": {"GET": SIGNED_IN},
    "for-a-while": {"POST": STAFF},
    "filter-change": {"POST": SIGNED_IN},
    "filter-reading": {"POST": STAFF},
    "air-side": {"GET": STAFF},
    "air-measured": {"POST": STAFF},
    "air-papers": {"POST": STAFF},
    "air-withdrawn": {"POST": STAFF},
    "device-new": {"POST": Who.MANAGER},
    "device-turned": {"POST": Who.MANAGER},
    "device-gone": {"POST": Who.MANAGER},
    "site": {"GET": SIGNED_IN},
    "site-event": {"POST": Who.MANAGER},
    "site-person": {"POST": Who.MANAGER},
    "site-visit": {"POST": Who.MANAGER},
    "site-dust": {"POST": Who.MANAGER},
    "card": {"GET": SIGNED_IN},
    "what-was-done": {"GET": SIGNED_IN},
    "tags": {"GET": STAFF, "POST": STAFF},
    "tag": {"GET": EVERYBODY},
    "to-buy": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "to-buy-sheet": {"GET": Who.MANAGER},
    "filter-sent": {"POST": Who.MANAGER},
    "filter-height": {"POST": STAFF},
    "figures": {"GET": Who.MANAGER},
    "figures-sheet": {"GET": Who.MANAGER},
    "findings": {"GET": Who.MANAGER},
    "defect-settled": {"POST": Who.MANAGER},
    "entry-judged": {"POST": Who.MANAGER},
    "promises": {"GET": Who.MANAGER},
    "season": {"GET": Who.MANAGER},
    "home": {"GET": Who.HOMEOWNER},
    "site-answer": {"POST": Who.HOMEOWNER},
    "household-wishes": {"POST": Who.HOMEOWNER},
    "my-data": {"GET": Who.HOMEOWNER},
    "erase-me": {"POST": Who.HOMEOWNER},
    "hand-over": {"GET": STAFF, "POST": STAFF},
    "dust": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "dust-close": {"POST": Who.MANAGER},
    "sheets": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "sheets-zip": {"GET": Who.MANAGER},
    "outbox": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "letter-judged": {"POST": Who.MANAGER},
    "address-lifted": {"POST": Who.MANAGER},
    "message": {"GET": Who.MANAGER},
    "message-look": {"GET": Who.MANAGER},
    "call-list": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "answer": {"GET": EVERYBODY, "POST": EVERYBODY},
    "stop-mail": {"GET": EVERYBODY, "POST": EVERYBODY},
    "texts": {"POST": EVERYBODY},
    "feed": {"GET": EVERYBODY},
    "feed-new": {"POST": SIGNED_IN},
    "visits": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "visit": {"GET": STAFF},
    "visit-book": {"POST": Who.MANAGER},
    "visit-complete": {"POST": STAFF},
    "visit-arrived": {"POST": STAFF},
    "visit-no-access": {"POST": STAFF},
    "visit-displaced": {"POST": STAFF},
    "visit-cancel": {"POST": Who.MANAGER},
    "visit-hold": {"POST": Who.MANAGER},
    "visit-times": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "times": {"GET": EVERYBODY, "POST": EVERYBODY},
    "rounds": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "round": {"GET": Who.MANAGER},
    "round-stop": {"POST": Who.MANAGER},
    "round-take": {"POST": Who.MANAGER},
    "round-file": {"GET": Who.MANAGER},
    "season-plans": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "season-plan": {"GET": Who.MANAGER},
    "season-plan-stop": {"POST": Who.MANAGER},
    "people": {"GET": Who.MANAGER},
    "technician-new": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "technician": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "technicians-sheet": {"POST": Who.MANAGER},
    "technician-gone": {"POST": Who.MANAGER},
    "technician-back": {"POST": Who.MANAGER},
    "roads": {"POST": Who.MANAGER},
    "load-feed": {"POST": Who.MANAGER},
    "depot-new": {"POST": Who.MANAGER},
    "depot": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "depot-closed": {"POST": Who.MANAGER},
    "absence-free": {"POST": Who.MANAGER},
    "absence": {"POST": Who.MANAGER},
    "absence-ends": {"POST": Who.MANAGER},
    "home-hours": {"POST": Who.MANAGER},
    "my-day": {"GET": STAFF},
    "entries": {"POST": STAFF},
    "day": {"GET": STAFF},
    "van": {"GET": STAFF, "POST": STAFF},
    "van-feed": {"POST": STAFF},
    "day-order": {"POST": STAFF},
    "photo-add": {"POST": STAFF},
    "photograph": {"GET": SIGNED_IN},
    "photograph-gone": {"POST": Who.MANAGER},
    "tasks": {"GET": STAFF, "POST": Who.MANAGER},
    "admin": {"GET": Who.MANAGER, "POST": Who.MANAGER},
}

# The same for programs, which show a key; a session opens none of it.
API_TABLE: dict[str, dict[str, Who]] = {
    "api-root": {},
    "openapi-json": {"GET": SIGNED_IN | Who.DEVICE},
    "api-device-batch": {"POST": Who.DEVICE},
    "api-sites": {"GET": SIGNED_IN},
    "api-systems": {"GET": SIGNED_IN},
    "api-readings": {"GET": SIGNED_IN},
    "api-changes": {"GET": SIGNED_IN},
    "api-runtime": {"GET": SIGNED_IN},
    "api-filters": {"GET": SIGNED_IN},
    "api-filter": {"GET": SIGNED_IN},
    "api-filter-changes": {"POST": SIGNED_IN},
    "api-filter-readings": {"POST": STAFF},
    "api-visits": {"GET": STAFF, "POST": Who.MANAGER},
    "api-visit": {"GET": STAFF},
    "api-visit-moved": {"POST": Who.MANAGER},
    "api-visit-held": {"POST": Who.MANAGER},
    "api-visit-called-off": {"POST": Who.MANAGER},
    "api-visit-arrived": {"POST": STAFF},
    "api-visit-no-access": {"POST": STAFF},
    "api-visit-displaced": {"POST": STAFF},
    "api-visit-done": {"POST": STAFF},
    "api-homes": {"GET": SIGNED_IN},
    "api-tasks": {"GET": SIGNED_IN, "POST": Who.MANAGER},
    "api-air-records": {"GET": STAFF},
    "api-air-measured": {"POST": STAFF},
    "api-air-withdrawn": {"POST": STAFF},
    "api-air-papers": {"POST": STAFF},
    "api-filter-height": {"POST": STAFF},
    "api-devices": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-device-turned": {"POST": Who.MANAGER},
    "api-device-withdrawn": {"POST": Who.MANAGER},
    "api-keys": {"GET": STAFF},
    "api-key-withdrawn": {"POST": STAFF},
    "api-hand-overs": {"POST": STAFF},
    "api-people": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-events": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-sheets": {"POST": Who.MANAGER},
    "api-sheets-stored": {"POST": Who.MANAGER},
    "api-sheets-aside": {"POST": Who.MANAGER},
    "api-sheets-zip": {"GET": Who.MANAGER},
    "api-sheet": {"GET": Who.MANAGER},
    "api-findings": {"GET": Who.MANAGER},
    "api-defects": {"GET": Who.MANAGER},
    "api-defect-settled": {"POST": Who.MANAGER},
    "api-entries": {"GET": Who.MANAGER},
    "api-entry-judged": {"POST": Who.MANAGER},
    "api-calls": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-change-taken-back": {"POST": Who.HOMEOWNER},
    "api-technicians": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-technician": {"POST": Who.MANAGER},
    "api-technician-gone": {"POST": Who.MANAGER},
    "api-technician-back": {"POST": Who.MANAGER},
    "api-absences": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-absence-freed": {"POST": Who.MANAGER},
    "api-absence-withdrawn": {"POST": Who.MANAGER},
    "api-day-ordered": {"POST": STAFF},
    "api-letter-judged": {"POST": Who.MANAGER},
    "api-site-answers": {"POST": Who.HOMEOWNER},
    "api-my-data": {"GET": Who.HOMEOWNER},
    "api-my-wishes": {"POST": Who.HOMEOWNER},
    "api-erase-me": {"POST": Who.HOMEOWNER},
    "api-calendar": {"GET": SIGNED_IN},
    "api-calendar-turned": {"POST": SIGNED_IN},
    "api-fits": {"GET": SIGNED_IN},
    "api-for-a-while": {"POST": STAFF},
    "api-van": {"GET": STAFF},
    "api-van-loaded": {"POST": STAFF},
    "api-tags": {"GET": STAFF},
    "api-tags-withdrawn": {"POST": STAFF},
    "api-times": {"GET": Who.MANAGER},
    "api-times-offered": {"POST": Who.MANAGER},
    "api-dust": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-dust-closed": {"POST": Who.MANAGER},
    "api-letters": {"GET": Who.MANAGER},
    "api-season": {"GET": Who.MANAGER},
    "api-to-buy": {"GET": Who.MANAGER},
    "api-purchases": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-purchase-arrived": {"POST": Who.MANAGER},
    "api-counts": {"POST": Who.MANAGER},
    "api-stock-level": {"POST": Who.MANAGER},
    "api-to-send": {"GET": Who.MANAGER},
    "api-to-send-sent": {"POST": Who.MANAGER},
    "api-filter-sent": {"POST": Who.MANAGER},
    "api-rounds": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-round": {"GET": Who.MANAGER},
    "api-round-stopped": {"POST": Who.MANAGER},
    "api-round-taken": {"POST": Who.MANAGER},
    "api-round-file": {"GET": Who.MANAGER},
    "api-season-plans": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-season-plan": {"GET": Who.MANAGER},
    "api-season-trips": {"GET": Who.MANAGER},
    "api-season-plan-stopped": {"POST": Who.MANAGER},
    "api-figures": {"GET": Who.MANAGER},
    "api-promises": {"GET": Who.MANAGER},
    "api-photographs": {"GET": SIGNED_IN, "POST": STAFF},
    "api-photograph": {"GET": SIGNED_IN},
    "api-photograph-withdrawn": {"POST": Who.MANAGER},
    "api-depots": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-depot": {"POST": Who.MANAGER},
    "api-depot-closed": {"POST": Who.MANAGER},
    "api-roads": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-home-hours": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-letter-rules": {"GET": Who.MANAGER, "POST": Who.MANAGER},
    "api-rested": {"GET": Who.MANAGER},
    "api-rested-lifted": {"POST": Who.MANAGER},
    "api-technicians-sheet": {"POST": Who.MANAGER},
    "api-van-calendar": {"GET": STAFF},
    "api-van-calendar-turned": {"POST": STAFF},
    "api-load-calendar": {"GET": Who.MANAGER},
    "api-load-calendar-turned": {"POST": Who.MANAGER},
    "api-look-up": {"GET": STAFF},
    "api-what-was-done": {"GET": SIGNED_IN},
    "api-trips": {"GET": Who.MANAGER},
    "api-soonest": {"POST": Who.MANAGER},
    "api-quiet-stations": {"GET": Who.MANAGER},
    "api-van-levels": {"GET": Who.MANAGER},
}


def who(user: object) -> Who:
    """What kind of visitor ``user`` is."""
    if not isinstance(user, User) or not user.is_active:
        return Who.STRANGER
    return {
        User.Role.MANAGER: Who.MANAGER,
        User.Role.TECHNICIAN: Who.TECHNICIAN,
        User.Role.HOMEOWNER: Who.HOMEOWNER,
    }[User.Role(user.role)]


def may_read(name: str) -> Who:
    """Who may open the page called ``name``."""
    return TABLE.get(name, {}).get("GET", NOBODY)


def row_name(request: HttpRequest) -> str:
    """The table's row for a resolved request: its URL name, or ``admin`` for all of the admin's."""
    match = request.resolver_match
    if match is None:
        return ""
    return "admin" if "admin" in match.app_names else (match.url_name or "")


def is_api(request: HttpRequest) -> bool:
    """Whether the address is one for programs."""
    match = request.resolver_match
    return match is not None and "ninja" in match.app_names


def _of_programs(request: HttpRequest) -> HttpResponse | None:
    """None where the program may go on, else the refusal as problem details."""
    match = request.resolver_match
    row = API_TABLE.get(match.url_name or "", {}) if match else {}
    method = "GET" if request.method == "HEAD" else request.method or ""
    if not row:
        return problem(404, "There is nothing at this address")
    if method not in row:
        answer = problem(405, "This address is asked otherwise", ", ".join(sorted(row)))
        answer["Allow"] = ", ".join(sorted(row))
        return answer
    visitor = of_key(request)
    if visitor & row[method]:
        return None
    if visitor is Who.STRANGER:
        answer = problem(401, "A key is needed", "Authorization: Bearer, and the key that the desk made.")
        answer["WWW-Authenticate"] = "Bearer"
        return answer
    return problem(403, "This key opens something else")


def of_key(request: HttpRequest) -> Who:
    """What kind of visitor the request's key makes it; without one a stranger, whoever is signed in."""
    if getattr(request, "device", None) is not None:
        return Who.DEVICE
    return who(request.user) if getattr(request, "by_key", False) else Who.STRANGER


class AccessMiddleware:
    """Lets a request through to its view only where the table says so."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        """Pass the request on; the gate itself is at the view."""
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view: object, args: object, kwargs: object
    ) -> HttpResponse | None:
        """None where the visitor may go on, else the refusal."""
        if is_api(request):
            return _of_programs(request)
        row = TABLE.get(row_name(request), {})
        method = "GET" if request.method == "HEAD" else request.method or ""
        if method not in row:
            if not row:
                raise PermissionDenied
            return _not_so(request, row)
        visitor = who(request.user)
        if visitor & row[method]:
            return None
        if visitor is Who.STRANGER and method == "GET":
            return redirect_to_login(request.get_full_path(), settings.LOGIN_URL)
        if visitor is Who.STRANGER and _from_a_page(request):
            return _in_again(request)
        raise PermissionDenied


def _from_a_page(request: HttpRequest) -> bool:
    """Whether somebody pressed a button, so that a page answers; programs of the phone ask otherwise."""
    return request.headers.get("Sec-Fetch-Mode") == "navigate"


def _not_so(request: HttpRequest, row: dict[str, Who]) -> HttpResponse:
    answer: HttpResponse = HttpResponseNotAllowed(sorted(row))
    if _from_a_page(request):
        answer.content = render_to_string("405.html", request=request)
    return answer


def _in_again(request: HttpRequest) -> HttpResponse:
    """The way in, and then back to the page of the button; what was pressed is done by nobody."""
    page = urlsplit(request.headers.get("Referer", ""))
    back = page.path if page.netloc == request.get_host() and page.path else "/"
    said = _("You are signed out: nothing of it was stored. Sign in, and press it again.")
    messages.error(request, said)
    return redirect_to_login(back, settings.LOGIN_URL)
