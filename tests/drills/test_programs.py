"""All that programs may ask, with what a machine makes up from the desk's own description of it."""

from typing import Any

import pytest
import requests
from django.test import Client
from django.utils import timezone
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from equipment import api_keys
from equipment.models import FilterSlot, User
from servicedesk.api import api
from tests.addresses import A_ROUND
from tests.factories import (
    NOW,
    AbsenceFactory,
    AirRecordFactory,
    DefectFactory,
    DepotFactory,
    DeviceFactory,
    DustEpisodeFactory,
    FieldEntryFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    NoticeFactory,
    PersonFactory,
    PhotographFactory,
    PlanFactory,
    PurchaseFactory,
    RestedAddressFactory,
    RoundPlanFactory,
    SeasonPlanFactory,
    SentFilterFactory,
    SiteRoleFactory,
    TechnicianFactory,
    UserFactory,
    VisitFactory,
    VisitJobFactory,
)


def operations() -> list[Any]:
    """What the desk describes; loaded where it is asked, for every process of the tests looks in here."""
    import schemathesis

    description = schemathesis.openapi.from_dict(api.get_openapi_schema(path_prefix="/api/v1/"))
    return [found.ok() for found in description.get_all_operations()]


def on_record(slot: FilterSlot, manager: User) -> dict[str, int]:
    """A row of each kind that addresses name by number, by the first part of the address."""
    home, technician = slot.system.site, TechnicianFactory(name="Ada Reed")
    visit = VisitFactory(site=home, technician=technician, day=NOW.date(), state="scheduled")
    VisitJobFactory(visit=visit, slot=slot)
    rows = {
        "visits": visit, "defects": DefectFactory(visit=visit, site=home),
        "entries": FieldEntryFactory(visit=visit, user=manager, state="to_judge"),
        "changes": FilterChangeFactory(slot=slot), "devices": DeviceFactory(system=slot.system),
        "keys": api_keys.make(UserFactory(role=User.Role.TECHNICIAN), "another", timezone.now())[0],
        "purchases": PurchaseFactory(), "filters-to-send": SentFilterFactory(slot=slot),
        "systems": slot.system, "air-records": AirRecordFactory(system=slot.system),
        "sites": home, "dust": DustEpisodeFactory(site=home), "technicians": technician,
        "absences": AbsenceFactory(), "letters": NoticeFactory(site=home, state="parked"),
        "rounds": RoundPlanFactory(proposal={"days": [A_ROUND]}), "season-plans": SeasonPlanFactory(),
        "photographs": PhotographFactory(slot=slot, visit=visit), "depots": DepotFactory(),
        "rested-addresses": RestedAddressFactory(),
    }  # fmt: skip
    return {part: row.pk for part, row in rows.items()}


def led_to(case: Any, there: dict[str, int]) -> Any:
    """The case at a row that is there, where its address names one."""
    part = case.path.removeprefix("/api/v1").strip("/").split("/")[0]
    named = {"kind": "gpx", "pk": there.get(part), "name": "media.csv" if part == "sheets" else "hall"}
    case.path_parameters = {
        name: named.get(name) or value for name, value in (case.path_parameters or {}).items()
    }
    return case


def asked(case: Any, key: str) -> Any:
    """What the desk answers to a made-up case that shows ``key``."""
    made = {**case.as_transport_kwargs(base_url="http://testserver")}
    wire = requests.Request(
        made["method"],
        made["url"],
        **{name: made[name] for name in ("params", "json", "data", "files") if name in made},
    ).prepare()
    body = wire.body.encode() if isinstance(wire.body, str) else wire.body or b""
    return Client(raise_request_exception=False).generic(
        case.method, wire.path_url, body, wire.headers.get("Content-Type", "application/json"),
        headers={"Authorization": f"Bearer {key}"},
    )  # fmt: skip


class TestProgramsDrill(TestCase):
    """No program breaks the desk, whoever's key it shows; what is refused is refused as a problem."""

    def test_every_operation(self) -> None:
        self.drill_all(1)

    @pytest.mark.long
    def test_every_operation_with_more_cases(self) -> None:
        self.drill_all(6)

    def drill_all(self, cases: int) -> None:
        manager = UserFactory(role=User.Role.MANAGER)
        slot = FilterSlotFactory(name="hall")
        PlanFactory(slot=slot)
        key = api_keys.make(manager, "a script", NOW)[1]
        device = DeviceFactory(system=slot.system)
        household = UserFactory(role=User.Role.HOMEOWNER, person=PersonFactory())
        SiteRoleFactory(site=slot.system.site, person=household.person)
        theirs = api_keys.make(household, "a script", NOW)[1]
        driver = UserFactory(role=User.Role.TECHNICIAN)
        TechnicianFactory(user=driver)
        drives = api_keys.make(driver, "a script", NOW)[1]
        keys = [key, drives, f"key-{device.name.removeprefix('logger-')}", theirs]
        there = on_record(slot, manager)
        described = operations()
        assert len(described) >= 110
        for operation in described:
            with self.subTest(operation.label):
                self.drill(operation, keys, there, cases)

    def drill(self, operation: Any, keys: list[str], there: dict[str, int], cases: int) -> None:
        told = set[int]()

        @settings(
            max_examples=cases, deadline=None, database=None,
            suppress_health_check=list(HealthCheck), derandomize=True, phases=[Phase.generate],
        )  # fmt: skip
        @given(case=operation.as_strategy())
        def every_case(case: Any) -> None:
            for key in keys:
                # A number made up leads nowhere.
                answer = asked(led_to(case, there), key)
                assert answer.status_code < 500, answer.content
                told.add(answer.status_code)
                if answer.status_code >= 400:
                    assert answer["Content-Type"] == "application/problem+json", answer.content

        every_case()
        assert told - {401, 403, 404, 405}, f"nobody got through to it: {told}"
