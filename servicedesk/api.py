"""The desk for programs: OpenAPI under /api/v1/, errors as problem details (RFC 9457)."""

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError

from equipment.api import router as record
from equipment.api_devices import router as devices
from equipment.api_sheets import router as sheets
from equipment.devices import NotADevice
from equipment.record import NotRecordable
from equipment.sheets.waiting import NotWaiting
from schedules.api import router as dates
from schedules.api_air import router as air
from schedules.api_asked import router as asked
from schedules.api_calendars import router as calendars
from schedules.api_carried import router as carried
from schedules.api_desk import router as desk
from schedules.api_figures import router as figures
from schedules.api_findings import router as looking_at
from schedules.api_fits import router as fits
from schedules.api_homes import router as homes
from schedules.api_household import router as household
from schedules.api_letters import router as letters
from schedules.api_own import router as own
from schedules.api_photographs import router as photographs
from schedules.api_places import router as places
from schedules.api_record import router as lists
from schedules.api_rounds import router as rounds
from schedules.api_seasons import router as seasons
from schedules.api_staff import router as staff
from schedules.api_supply import router as supply
from schedules.api_tasks import router as tasks
from schedules.api_times import router as times
from schedules.api_visit_done import router as visits_done
from schedules.api_visits import router as visits
from schedules.background_runs import NotPlannable
from schedules.bookable import NotBookable, Unsuited
from schedules.call_list import NotToRing
from schedules.day_problem import NoStart
from schedules.sending import NotJudged
from schedules.supply import NotOrderable
from servicedesk.problems import problem
from shared.form_bodies import Faulty, Refusal

MOST_FAULTS = 50


# Ninja's pages of documentation would fetch scripts from elsewhere, so there are none.
api = NinjaAPI(
    title="Service desk", version="1", urls_namespace="api-v1", docs_url=None, openapi_url="/openapi.json",
    description="Homes, filters, dates, visits; devices post runtime and readings.",
)  # fmt: skip
for part in (
    record, devices, sheets, dates, desk, homes, visits, visits_done, tasks, looking_at, supply, rounds,
    seasons, figures, air, staff, household, own, fits, carried, times, photographs, places, letters,
    calendars, asked, lists,
):  # fmt: skip
    api.add_router("", part)


@api.exception_handler(ValidationError)
def _not_valid(request: HttpRequest, error: ValidationError) -> HttpResponse:
    faults = [
        {"at": "/".join(map(str, one.get("loc", ()))), "why": str(one.get("msg", ""))}
        for one in error.errors[:MOST_FAULTS]
    ]
    return problem(422, "What was sent cannot be read", faults=faults)


@api.exception_handler(Faulty)
def _faulty(request: HttpRequest, error: Faulty) -> HttpResponse:
    return problem(422, "What was sent cannot be so", faults=error.faults[:MOST_FAULTS])


@api.exception_handler(Refusal)
def _refusal(request: HttpRequest, error: Refusal) -> HttpResponse:
    return problem(error.status, "Not done", str(error), **error.more)


@api.exception_handler(NotWaiting)
def _waits_no_more(request: HttpRequest, error: NotWaiting) -> HttpResponse:
    return problem(409, "Not done", str(error))


def _cannot(request: HttpRequest, error: Any) -> HttpResponse:
    """The use cases' own refusals, in their words; what is merely unusual is done for who is ``sure``."""
    more = {"ask": "sure"} if isinstance(error, Unsuited) else {}
    return problem(422, "Not done", str(error), **more)


for refusal in (
    NotRecordable,
    NotBookable,
    NotToRing,
    NotADevice,
    NotOrderable,
    NotPlannable,
    NotJudged,
    NoStart,
):
    api.add_exception_handler(refusal, _cannot)


@api.exception_handler(HttpError)
def _refused(request: HttpRequest, error: HttpError) -> HttpResponse:
    return problem(error.status_code, "Not done", str(error))


@api.exception_handler(Http404)
def _not_there(request: HttpRequest, error: Http404) -> HttpResponse:
    return problem(404, "There is nothing at this address, or not for this key")
