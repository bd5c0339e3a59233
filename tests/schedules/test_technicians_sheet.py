"""technicians.csv: everybody or nobody, every fault with its line, twice the same changes nothing."""

from datetime import time
from pathlib import Path

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from schedules.models import Technician
from schedules.technicians_sheet import import_technicians
from tests.factories import DepotFactory, TechnicianFactory

pytestmark = pytest.mark.django_db
HEADER = "name,skills,latitude,longitude,depot,day_starts,day_ends,weekdays,van_room\n"


def read(folder: Path, rows: str) -> list[str]:
    path = folder / "technicians.csv"
    path.write_text(HEADER + rows, encoding="utf-8")
    report = import_technicians(path)
    assert report.stored == (not report.faults)
    return [str(fault) for fault in report.faults]


def test_somebody_new_comes_with_the_usual_and_nothing_changes_twice(tmp_path: Path) -> None:
    depot = DepotFactory(name="North")
    rows = "Ada,Gas; Heat  pump,41.9,-87.8,,7:30,16:00,mon tuesday SAT,25\nBo,,,,North,,,,\n"
    assert read(tmp_path, rows) == []
    ada, bo = Technician.objects.order_by("name")
    assert (ada.skills, ada.weekdays, ada.van_room) == (["gas", "heat pump"], [0, 1, 5], 25)
    assert (ada.day_starts, ada.day_ends) == (time(7, 30), time(16))
    assert (bo.depot, bo.weekdays, bo.day_ends, bo.van_room) == (depot, [0, 1, 2, 3, 4], time(17), 40)
    assert import_technicians(tmp_path / "technicians.csv").changed == {"technicians.csv": 0}


def test_an_empty_cell_leaves_what_is_stored(tmp_path: Path) -> None:
    TechnicianFactory(name="Ada", skills=["gas"], van_room=12)
    assert read(tmp_path, "Ada,,,,,,,,33\n") == []
    ada = Technician.objects.get()
    assert (ada.skills, ada.van_room) == (["gas"], 33)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ("Ada,,91,0,,,,,", "at most 90"),
        ("Ada,,0,0,,,,,", "in the sea"),
        ("Ada,,41.9,,,,,,", "both latitude and longitude"),
        ("Ada,,,,Nowhere,,,,", "no depot of this name"),
        ("Ada,,,,,25:00,,,", "no clock shows"),
        ("Ada,,,,,8 am,,,", "not a time"),
        ("Ada,,,,,17:00,08:00,,", "ends before it begins"),
        ("Ada,,,,,,,mon someday,", "is no day"),
        ("Ada,,,,,,,,0", "at least 1"),
        (",gas,,,,,,,", "must not be empty"),
    ],
)
def test_what_cannot_be_is_refused_with_its_line_and_nobody_is_stored(
    tmp_path: Path, row: str, why: str
) -> None:
    (fault,) = read(tmp_path, f"Bo,,,,,,,,\n{row}\n")
    assert "line 3" in fault
    assert why in fault
    assert not Technician.objects.exists()


def test_a_name_that_stands_twice_is_a_fault(tmp_path: Path) -> None:
    (fault,) = read(tmp_path, "Ada,,,,,,,,\nAda,,,,,,,,12\n")
    assert "see line 2" in fault


def test_the_page_and_the_command_read_it(manager: Client, tmp_path: Path) -> None:
    good = SimpleUploadedFile("any.csv", (HEADER + "Ada,gas,,,,,,,\n").encode())
    text = manager.post(reverse("technicians-sheet"), {"sheet": good}, follow=True).text
    assert "1 row read, 1 new or changed" in text
    bad = SimpleUploadedFile("any.csv", (HEADER + "Bo,,91,0,,,,,\n").encode())
    answer = manager.post(reverse("technicians-sheet"), {"sheet": bad})
    assert answer.status_code == 422
    assert "at most 90" in answer.text
    assert "Choose a CSV file" in manager.post(reverse("technicians-sheet"), follow=True).text
    (tmp_path / "t.csv").write_text(HEADER + "Cy,,,,,,,,\n")
    call_command("import_technicians", str(tmp_path / "t.csv"))
    assert Technician.objects.filter(name="Cy").exists()
    with pytest.raises(CommandError, match="cannot be read"):
        call_command("import_technicians", str(tmp_path / "none.csv"))
