"""An address for every row of the table of who may what."""

from django.urls import reverse

from equipment.models import FilterSlot, Site, User
from schedules.models import Feed, Visit
from servicedesk.access import TABLE
from shared import signing
from shared.signing import Purpose
from tests.factories import (
    TODAY,
    AbsenceFactory,
    AirRecordFactory,
    ApiKeyFactory,
    DefectFactory,
    DepotFactory,
    DeviceFactory,
    DustEpisodeFactory,
    FeedFactory,
    FieldEntryFactory,
    NoticeFactory,
    PhotographFactory,
    PlanFactory,
    RestedAddressFactory,
    RoundPlanFactory,
    SeasonPlanFactory,
    TagFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)

A_ROUND = {
    "technician": 0, "name": "Nobody", "day": "2026-05-13", "start": [41.9, -87.8], "depart": "08:00:00",
    "back": "08:00:00", "stops": [],
}  # fmt: skip


def addresses_of(home: Site, home_slot: FilterSlot, homeowner: User, technician_user: User) -> dict[str, str]:
    """Of things that exist and belong to the named people."""
    technician = technician_user.technician
    PlanFactory(slot=home_slot)
    visit = VisitFactory(site=home, technician=technician, day=TODAY, state=Visit.State.SCHEDULED)
    VisitJobFactory(visit=visit, slot=home_slot)
    notice = NoticeFactory(site=home, person=homeowner.person, html="<p>x</p>", text="x")
    feed: Feed = FeedFactory(site=home)
    arguments: dict[str, list[object]] = {
        "filter": [home_slot.pk],
        "what-fits": [home_slot.pk],
        "for-a-while": [home_slot.pk],
        "filter-change": [home_slot.pk],
        "filter-sent": [home_slot.pk],
        "filter-height": [home_slot.pk],
        "site-answer": [home_slot.system.site_id],
        "household-wishes": [home_slot.system.site_id],
        "filter-reading": [home_slot.pk],
        "air-side": [home_slot.system_id],
        "air-measured": [home_slot.system_id],
        "air-papers": [home_slot.system_id],
        "site": [home.pk],
        "site-event": [home.pk],
        "site-person": [home.pk],
        "site-visit": [home.pk],
        "site-dust": [home.pk],
        "dust-close": [DustEpisodeFactory(site=home).pk],
        "card": [home.pk],
        "key-withdrawn": [ApiKeyFactory(user=technician_user).pk],
        "what-was-done": [home.pk],
        "tags": [home.pk],
        "photograph": [PhotographFactory(slot=home_slot).pk],
        "photograph-gone": [PhotographFactory(slot=home_slot).pk],
        "tag": [TagFactory(slot=home_slot).code],
        "feed-new": [home.pk],
        "message": [notice.pk],
        "message-look": [notice.pk],
        "letter-judged": [notice.pk],
        "address-lifted": [RestedAddressFactory().pk],
        "answer": [signing.make(Purpose.ANSWER, f"site:{home.pk}")],
        "stop-mail": [signing.make(Purpose.STOP_MAIL, str(homeowner.person.pk))],
        "times": [signing.make(Purpose.TIMES, str(visit.pk))],
        "device-new": [home_slot.system_id],
        "device-turned": [DeviceFactory(system=home_slot.system).pk],
        "device-gone": [DeviceFactory(system=home_slot.system).pk],
        "air-withdrawn": [home_slot.system_id, AirRecordFactory(system=home_slot.system).pk],
        "feed": [feed.secret],
        "day": [technician.pk, TODAY.isoformat()],
        "round": [RoundPlanFactory(proposal={"days": [A_ROUND]}).pk],
        "absence-ends": [AbsenceFactory().pk],
        "absence-free": [AbsenceFactory().pk],
        "depot": [DepotFactory().pk],
        "depot-closed": [DepotFactory().pk],
        "technician-back": [TechnicianFactory(gone_on=TODAY).pk],
        "technician": [technician.pk],
        "technician-gone": [technician.pk],
        "home-hours": [home.pk],
        "van-feed": [technician.pk],
        "day-order": [technician.pk, TODAY.isoformat()],
        "van": [technician.pk, TODAY.isoformat()],
        "defect-settled": [DefectFactory(visit=visit).pk],
        "entry-judged": [FieldEntryFactory(visit=visit, state="to_judge").pk],
    }
    arguments["round-stop"] = arguments["round-take"] = arguments["round"]
    arguments["season-plan"] = arguments["season-plan-stop"] = [SeasonPlanFactory().pk]
    arguments["round-file"] = [*arguments["round"], "gpx"]
    for part in ("book", "complete", "no-access", "cancel", "hold", "times", "arrived", "displaced"):
        arguments[f"visit-{part}"] = [visit.pk]
    arguments["visit"] = [visit.pk]
    return {
        name: reverse("admin:index") if name == "admin" else reverse(name, args=arguments.get(name, []))
        for name in TABLE
    }
