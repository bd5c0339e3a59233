"""The air side by program: measured, taken back, papers and ducts, heights."""

from typing import Any

import pytest

from equipment.models import AirRecord, FilterSlot, System
from servicedesk.access import Who
from shared.units import M3S_PER_CFM, PA_PER_INWC, tons
from tests.factories import NOW, AirRecordFactory
from tests.servicedesk.test_api import program_of
from tests.servicedesk.writing import Body, Record, Write

pytestmark = pytest.mark.django_db
MEASURED: Body = {
    "return_static": 0.2, "filter_in": "out", "supply_static": "50 Pa", "airflow": 1100,
    "airflow_method": "by the traverse", "sure": True,
}  # fmt: skip
PAPERS: Body = {
    "capacity": 3, "filters": [{"filter_slot": "hall", "limit": 0.3}],
    "ducts": [{"diameter": 14, "length": 20, "kind": "0.04"}], "sure": True,
}  # fmt: skip


@pytest.fixture(autouse=True)
def at_noon(time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


def of_system(part: str) -> Any:
    return lambda record: f"/api/v1/systems/{record.slot.system_id}/{part}"


def a_record(record: Record) -> str:
    return f"/api/v1/air-records/{AirRecordFactory(system=record.slot.system).pk}/taken-back"


def standing() -> object:
    return AirRecord.objects.count()


def papers() -> object:
    slot = FilterSlot.objects.select_related("system").get(name="hall")
    ducts = [(round(duct["diameter_m"], 4), duct["flexible"]) for duct in slot.system.return_ducts]
    limit = None if slot.limit_drop_pa is None else round(slot.limit_drop_pa / PA_PER_INWC, 6)
    return ducts, limit


WRITES = [
    Write(
        "api-air-measured", of_system("measured"), standing, 1, MEASURED,
        refused={"airflow_method": "by eye"}, who=Who.TECHNICIAN,
    ),
    Write(
        "api-air-withdrawn", a_record, standing, 0, spoil=lambda: AirRecord.objects.all().delete(),
        who=Who.TECHNICIAN,
    ),
    Write(
        "api-air-papers", of_system("papers"), papers, ([(0.3556, True)], 0.3), PAPERS,
        refused={"ducts": [{"diameter": "9 parsecs"}]}, who=Who.TECHNICIAN,
    ),
    Write(
        "api-filter-height", lambda record: "/api/v1/filters/hall/height",
        lambda: FilterSlot.objects.get(name="hall").height_m, 2.5, {"height": "2.5 m"},
        refused={"height": "90 ft"}, who=Who.TECHNICIAN, answer=lambda told: told["height_ft"] == 8.202,
    ),
]  # fmt: skip


def test_what_is_measured_is_listed_in_the_trades_units(record: Record) -> None:
    ask = program_of(record.manager)
    assert ask.post(of_system("measured")(record), MEASURED).status_code == 200
    (row,) = ask.get(f"/api/v1/air-records?system={record.slot.system.name}").json()["rows"]
    assert (row["airflow_cfm"], row["return_static_inwc"]) == (1100, 0.2)
    assert row["supply_static_inwc"] == pytest.approx(50 / PA_PER_INWC, abs=1e-6)
    assert ask.get("/api/v1/air-records?system=another").json()["count"] == 0


@pytest.mark.parametrize(
    ("told", "place"),
    [
        ({"filters": [{"filter_slot": "hall", "opening_short": 14}]}, "body/filters/0/opening_short"),
        ({"filters": [{"filter_slot": "attic"}]}, "body/filters/0/filter_slot"),
        ({"ducts": [{"diameter": 14, "length": "900 m"}]}, "body/ducts/0/length"),
        ({"altitude": "9000 m"}, "body/altitude"),
    ],
)
def test_papers_are_refused_with_the_place_of_their_fault(record: Record, told: Body, place: str) -> None:
    answer = program_of(record.manager).post(of_system("papers")(record), told)
    assert (answer.status_code, answer.json()["faults"][0]["at"]) == (422, place)


def test_what_papers_leave_out_stays(record: Record) -> None:
    System.objects.update(design_airflow_m3s=1201 * M3S_PER_CFM, blower="fixed_speed")
    ask = program_of(record.manager)
    assert ask.post(of_system("papers")(record), {"capacity": 3}).json()["blower"] == "fixed_speed"
    system = System.objects.get(pk=record.slot.system_id)
    assert system.capacity_w == pytest.approx(tons(3))
    assert system.design_airflow_m3s == pytest.approx(1201 * M3S_PER_CFM)
