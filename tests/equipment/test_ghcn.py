"""Daily station files in the two layouts of the archive, and what must not get through."""

import gzip
from datetime import date
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from equipment.ghcn import NotAStationFile, read_station_file
from equipment.models import WeatherDay
from tests.factories import StationFactory

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
    days = read_station_file(file)
    # By hand: (-1.1 - 8.3) / 2 = -4.7; the second day has its own average.
    assert days.means == {date(2026, 1, 1): pytest.approx(-4.7), date(2026, 1, 2): pytest.approx(-1.7)}
    assert (days.flagged, days.unusable) == (1, 1)


def test_a_long_file_may_have_a_header_and_be_packed(file: Path) -> None:
    file.write_text(LONG)
    plain = read_station_file(file)
    headed = file.with_name("station.csv.gz")
    header = "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME"
    headed.write_bytes(gzip.compress(f"{header}\n{LONG}".encode()))
    assert plain.means
    assert read_station_file(headed) == plain


def test_the_table_layout_heeds_quality_flags(file: Path) -> None:
    file.write_text(TABLE)
    days = read_station_file(file)
    assert days.means == {date(2026, 1, 1): pytest.approx(-4.7)}
    assert days.flagged == 1


@pytest.mark.parametrize("text", ["", "a,b,c\n", "<html>\n", LONG + "USW00000001,20260101,TMAX,1,,,W,\n"])
def test_another_file_is_refused_in_plain_words(file: Path, text: str) -> None:
    file.write_text(text)
    with pytest.raises(NotAStationFile):
        read_station_file(file)


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
