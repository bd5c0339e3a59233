"""The desk's own lists for programs: homes on a map, tasks, people, letters, the season, filters to buy."""

from datetime import date, datetime
from typing import Annotated, Any

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.utils import timezone
from ninja import Query, Router, Schema
from ninja.errors import HttpError

from equipment.access import signed_in
from schedules import sending
from schedules.api_record import homes_for
from schedules.models import Notice, Plan
from schedules.season import Narrow, Season, facts, outlook, season
from shared.asked_days import Day, Key
from shared.paging import Page, Paged, page_of

router = Router()
_HOUR = 60.0


class Position(Schema):
    """A point, longitude and latitude in degrees (RFC 7946)."""

    type: str = "Point"
    coordinates: tuple[float, float]


class HomeFeature(Schema):
    """A home as a feature of a map, with the earliest date of its filters."""

    type: str = "Feature"
    geometry: Position
    properties: dict[str, str | None]


class Homes(Schema):
    """A collection of features, and how many homes have a position in all."""

    type: str = "FeatureCollection"
    count: int
    features: list[HomeFeature]


@router.get("/homes.geojson", url_name="api-homes", response=Homes, tags=["record"])
def homes(request: HttpRequest, paged: Paged) -> Any:
    """Homes that have a position, by name, as GeoJSON."""
    seen = homes_for(request).filter(latitude__isnull=False, longitude__isnull=False)
    page = page_of(seen.select_related("customer").order_by("name", "pk"), paged)
    due = _earliest([site.pk for site in page["rows"]])
    features = [
        HomeFeature(
            geometry=Position(coordinates=(site.longitude, site.latitude)),
            properties={
                "site": site.name,
                "customer": site.customer.name,
                "address": site.address,
                "due_on": due[site.pk].isoformat() if site.pk in due else None,
            },
        )
        for site in page["rows"]
    ]
    return Homes(count=page["count"], features=features)


def _earliest(sites: list[int]) -> dict[int, date]:
    rows = Plan.objects.filter(
        slot__system__site__in=sites,
        slot__retired_on=None,
        slot__system__replaced_on=None,
        due_on__isnull=False,
    )
    told = rows.order_by("-due_on").values_list("slot__system__site", "due_on")
    return {site: day for site, day in told if day}


class LetterOut(Schema):
    """A letter or text message: about what, to which home, what became of it; its words stay on the page."""

    id: int
    kind: str
    channel: str
    site: str | None
    state: str
    why: str
    send_at: datetime
    sent_at: datetime | None

    @staticmethod
    def resolve_site(row: Notice) -> str | None:
        return row.site.name if row.site else None


@router.get("/letters", url_name="api-letters", response=Page[LetterOut], tags=["letters"])
def letters(request: HttpRequest, paged: Paged, state: str = "", since: Day | None = None) -> Any:
    """Letters, the newest first."""
    rows = Notice.objects.select_related("site").order_by("-send_at", "-pk")
    rows = rows.filter(send_at__date__gte=since) if since else rows
    return page_of(rows.filter(state=state) if state else rows, paged)


class WeekOut(Schema):
    """A week of the season, in hours: work booked and expected, the span of eight chances in ten, what is
    left from before, working hours less what is held free, what cannot be done, and the chance of that."""

    monday: date
    booked: float
    expected: float
    low: float
    high: float
    left_from_before: float
    capacity: float
    too_many: float
    chance_past: float
    trips: float
    jobs: float


class SeasonOut(Schema):
    """The coming weeks, the present one first."""

    weeks: list[WeekOut]


@router.get("/season", url_name="api-season", response=SeasonOut, tags=["season"])
def season_of(
    request: HttpRequest,
    weeks: Annotated[int, Query(ge=1, le=26)] = 12,
    branch: str = "",
    skill: Annotated[str, Query(max_length=40)] = "",
) -> Any:
    """The season as it stands, of all branches and skills or of one."""
    known = facts(timezone.now())
    names = known.rows.branches.names
    if (branch and branch not in names) or (skill and skill not in known.rows.skills):
        raise HttpError(422, "No branch or no skill of that name is on record.")
    narrow = Narrow(names.index(branch) if branch else None, skill)
    found = season(known, outlook(known, weeks), narrow, moves=False)
    return SeasonOut(weeks=[_week(found, at) for at in range(weeks)])


def _week(one: Season, at: int) -> WeekOut:
    def hours(minutes: float) -> float:
        return round(float(minutes) / _HOUR, 3)

    return WeekOut(
        monday=one.first_days[at], booked=hours(one.booked[at]), expected=hours(one.expected[at]),
        low=hours(one.low[at]), high=hours(one.high[at]), left_from_before=hours(one.left[at]),
        capacity=hours(one.usable[at]), too_many=hours(one.short[at]),
        chance_past=round(float(one.chance[at]), 4), trips=round(float(one.trips[at]), 3),
        jobs=round(float(one.jobs[at]), 3),
    )  # fmt: skip


class SentIn(Schema):
    """Whether a parked letter went out."""

    sent: bool


@router.post("/letters/{pk}/judged", url_name="api-letter-judged", response=LetterOut, tags=["letters"])
def judge(request: HttpRequest, pk: Key, told: SentIn) -> Any:
    """Say of a parked letter whether it went out; one that did not is sent again under its old id."""
    row = get_object_or_404(Notice, pk=pk)
    sending.judge(row, sent=told.sent, user=signed_in(request), now=timezone.now())
    return Notice.objects.select_related("site").get(pk=pk)
