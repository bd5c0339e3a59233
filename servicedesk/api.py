"""The desk for programs: OpenAPI under /api/v1/, errors as problem details (RFC 9457)."""

from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError

from equipment.api import router as record
from schedules.api import router as dates
from schedules.api_desk import router as desk
from servicedesk.problems import problem

MOST_FAULTS = 50


# Ninja's pages of documentation would fetch scripts from elsewhere, so there are none.
api = NinjaAPI(
    title="Service desk", version="1", urls_namespace="api-v1", docs_url=None, openapi_url="/openapi.json",
    description="Homes, filters, dates, visits; devices post runtime and readings.",
)  # fmt: skip
api.add_router("", record)
api.add_router("", dates)
api.add_router("", desk)


@api.exception_handler(ValidationError)
def _not_valid(request: HttpRequest, error: ValidationError) -> HttpResponse:
    faults = [
        {"at": "/".join(map(str, one.get("loc", ()))), "why": str(one.get("msg", ""))}
        for one in error.errors[:MOST_FAULTS]
    ]
    return problem(422, "What was sent cannot be read", faults=faults)


@api.exception_handler(HttpError)
def _refused(request: HttpRequest, error: HttpError) -> HttpResponse:
    return problem(error.status_code, "Not done", str(error))


@api.exception_handler(Http404)
def _not_there(request: HttpRequest, error: Http404) -> HttpResponse:
    return problem(404, "There is nothing at this address, or not for this key")
