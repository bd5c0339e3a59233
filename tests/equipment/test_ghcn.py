"""Daily station files in the two layouts of the archive, and what must not get through."""

import gzip
import math
from datetime import date, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from equipment.ghcn import NotAStationFile, read_station_file
from equipment.models import WeatherDay
from shared import clock
from tests.factories import StationFactory

LAST = date(2026, 2, 1)
LONG = """USW00094846,20260101,TMAX,-11,,,W,2400
USW00094846,20260101,TMIN,-83,,,W,2400
USW00094846,20260101,PRCP,0,T,,W,2400
USW00094846,20260102,TMAX,22,,,W,2400
USW00094846,20260102,TMIN,-50,,,W,2400
USW00094846,20260102,TAVG,-17,H,,S,
USW00094846,20260103,TMAX,900,,X,W,2400
USW00094846,20260103,TMIN,-20,,,W,2400
USW00094846,20260230,TMIN,-20,,,W,2400
"""
TABLE = """"STATION","DATE","LATITUDE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"USW00094846","2026-01-01","41.96","  -11",",,W,2400","  -83",",,W,2400"
"USW00094846","2026-01-02","41.96","   22",",,W,2400","  -50",",X,W,2400"
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "station.csv"


def test_the_long_layout_gives_the_average_or_the_middle_of_the_extremes(file: Path) -> None:
    file.write_text(LONG)
    days = read_station_file(file, LAST)
    # By hand: (-1.1 - 8.3) / 2 = -4.7; the second day has its own average.
    assert days.means == {date(2026, 1, 1): pytest.approx(-4.7), date(2026, 1, 2): pytest.approx(-1.7)}
    assert (days.flagged, days.unusable) == (1, 1)


def test_a_long_file_may_have_a_header_and_be_packed(file: Path) -> None:
    file.write_text(LONG)
    plain = read_station_file(file, LAST)
    headed = file.with_name("station.csv.gz")
    header = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
    headed.write_bytes(gzip.compress(f"{header}\n{LONG}".encode()))
    assert plain.means
    assert read_station_file(headed, LAST) == plain


def test_the_table_layout_heeds_quality_flags(file: Path) -> None:
    file.write_text(TABLE)
    days = read_station_file(file, LAST)
    assert days.means == {date(2026, 1, 1): pytest.approx(-4.7)}
    assert days.flagged == 1


@pytest.mark.parametrize("text", ["", "a,b,c\n", "<html>\n", LONG + "USW00000001,20260101,TMAX,1,,,W,\n"])
def test_another_file_is_refused_in_plain_words(file: Path, text: str) -> None:
    file.write_text(text)
    with pytest.raises(NotAStationFile):
        read_station_file(file, LAST)


def a_table(first: date, days: int, warmest: float, coldest: float) -> str:
    """A year's wave in the layout of a table."""
    rows = ["STATION,DATE,TMAX,TMIN"]
    for day in range(days):
        middle = (warmest + coldest) / 2 - (warmest - coldest) / 2 * math.cos(2 * math.pi * day / 365)
        rows.append(f"USW00094846,{first + timedelta(days=day)},{middle + 10:.0f},{middle - 10:.0f}")
    return "\n".join(rows)


def test_a_year_in_degrees_fahrenheit_is_refused(file: Path) -> None:
    file.write_text(a_table(date(2025, 1, 15), 365, 95, 15))
    with pytest.raises(NotAStationFile, match=r"10\.5 C\. These look like degrees Fahrenheit"):
        read_station_file(file, LAST)


def test_a_year_of_a_cold_place_in_tenths_is_not(file: Path) -> None:
    """Summers of 17 degrees, as on the coast of the Arctic Ocean."""
    file.write_text(a_table(date(2025, 1, 15), 365, 160, -300))
    assert len(read_station_file(file, LAST).means) == 365


def test_some_cold_weeks_are_taken_and_doubted(file: Path) -> None:
    file.write_text(a_table(date(2026, 1, 1), 20, 60, 30))
    days = read_station_file(file, LAST)
    assert len(days.means) == 20
    assert "if these are degrees Fahrenheit, they belong in weather.csv" in days.doubt


def test_degrees_with_fractions_are_no_tenths(file: Path) -> None:
    file.write_text("STATION,DATE,TMAX,TMIN\nUSW00094846,2026-01-01,21.5,nan\n")
    with pytest.raises(NotAStationFile, match=r"21\.5 for TMAX on 2026-01-01"):
        read_station_file(file, LAST)


def test_days_to_come_are_left_out_and_counted(file: Path) -> None:
    file.write_text(a_table(date(2026, 1, 28), 10, 300, 0))
    days = read_station_file(file, LAST)
    assert max(days.means) == LAST
    assert days.ahead == 10


@pytest.mark.django_db
def test_the_command_tells_of_days_to_come_and_of_doubts(
    file: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    StationFactory(name="lake")
    last = clock.latest_day(timezone.now())
    file.write_text(a_table(last - timedelta(days=9), 11, 60, 30))
    call_command("import_weather", file, "--station", "lake")
    told = capsys.readouterr()
    assert "10 days read, 10 new or changed" in told.out
    assert told.out.rstrip().endswith("and 2 of days to come")
    assert told.err.startswith("lake: no value is above")


@pytest.mark.django_db
def test_the_command_stores_new_days_once_and_stamps_the_station(file: Path) -> None:
    station = StationFactory(name="lake")
    file.write_text(LONG)
    call_command("import_weather", file, "--station", "lake")
    station.refresh_from_db()
    first = station.weather_changed_at
    assert WeatherDay.objects.count() == 2
    call_command("import_weather", file, "--station", "lake")
    station.refresh_from_db()
    assert first is not None
    assert (WeatherDay.objects.count(), station.weather_changed_at) == (2, first)


@pytest.mark.django_db
def test_an_unknown_station_is_said_with_those_known(file: Path) -> None:
    StationFactory(name="lake")
    file.write_text(LONG)
    with pytest.raises(CommandError, match="known are: lake"):
        call_command("import_weather", file, "--station", "sea")
