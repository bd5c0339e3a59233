"""Files as people's programs save them: encodings, headers, quotes, separators."""

import csv
import io
from collections.abc import Callable
from typing import Any

import pytest

from equipment.models import Media, Site
from tests.equipment.sheets.test_importer import counts

Importing = Callable[..., Any]
GOOD = "media,nominal_size,merv\npleat,16x25x1,8\n"


def places(report: Any) -> list[tuple[int, str]]:
    return [(fault.line, fault.column) for fault in report.faults]


def test_a_row_in_latin_1_is_named_by_its_line_and_can_be_shown(importing: Importing) -> None:
    report = importing(media=GOOD.encode() + "plié,20x25x1,8\n".encode("latin-1") + b"good,20x25x1,8\n")
    assert places(report) == [(3, "media")]
    assert "UTF-8" in report.faults[0].reason
    assert "\n".join(report.lines()).encode("utf-8")


def test_a_header_in_latin_1_can_be_shown(importing: Importing) -> None:
    report = importing(media="media,nominal_size,merv,prié\npleat,16x25x1,8,\n".encode("latin-1"))
    assert "\n".join(report.lines()).encode("utf-8")


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-be", "utf-16-le", "utf-32"])
def test_a_utf_16_file_is_refused(importing: Importing, encoding: str) -> None:
    report = importing(media=GOOD.encode(encoding))
    assert report.faults
    assert not Media.objects.exists()


def test_a_file_of_a_spreadsheet_program_is_refused_by_name(importing: Importing) -> None:
    report = importing(media=b"PK\x03\x04\x14\x00\x06\x00")
    assert "spreadsheet" in report.faults[0].reason


def test_a_byte_order_mark_is_no_part_of_the_first_column(importing: Importing) -> None:
    assert not importing(media=b"\xef\xbb\xbf" + GOOD.encode()).faults
    assert Media.objects.get().name == "pleat"


def test_columns_may_stand_in_any_order_and_any_case(importing: Importing) -> None:
    assert not importing(media="MERV, Media ,nominal_size\n8,pleat,16x25x1\n").faults
    assert Media.objects.get().merv == 8


def test_unknown_columns_are_reported_and_ignored(importing: Importing) -> None:
    report = importing(media="media,nominal_size,merv,colour\npleat,16x25x1,8,blue\n")
    assert not report.faults
    assert "colour" in report.remarks[0]


@pytest.mark.parametrize("missing", ["media", "nominal_size", "merv"])
def test_a_missing_column_is_named(importing: Importing, missing: str) -> None:
    columns = [name for name in ("media", "nominal_size", "merv") if name != missing]
    report = importing(media=",".join(columns) + "\n" + ",".join("8" for _ in columns) + "\n")
    assert places(report) == [(1, missing)]
    assert "missing" in report.faults[0].reason


def test_a_file_without_a_header_lacks_its_columns(importing: Importing) -> None:
    report = importing(media="pleat,16x25x1,8\ndeep,20x25x4,13\n")
    assert {fault.column for fault in report.faults} == {"media", "nominal_size", "merv"}
    assert not Media.objects.exists()


@pytest.mark.parametrize("content", [b"", b"\xef\xbb\xbf", b"\n\n"])
def test_an_empty_file_is_a_fault(importing: Importing, content: bytes) -> None:
    assert importing(media=content).faults


def test_a_column_that_stands_twice_is_a_fault(importing: Importing) -> None:
    report = importing(media="media,nominal_size,merv,MERV\npleat,16x25x1,8,11\n")
    assert places(report) == [(1, "merv")]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_another_separator_is_said_plainly(importing: Importing, separator: str) -> None:
    report = importing(media=GOOD.replace(",", separator))
    assert len(report.faults) == 1
    assert "commas" in report.faults[0].reason


def test_a_header_repeated_among_the_rows_is_refused_like_any_bad_row(importing: Importing) -> None:
    report = importing(media=GOOD + "media,nominal_size,merv\n")
    assert places(report) == [(3, "nominal_size"), (3, "merv")]


def test_a_quoted_newline_belongs_to_its_cell_and_lines_are_still_counted(importing: Importing) -> None:
    text = (
        "customer,site,system,filter_slot,nominal_size,access_notes\n"
        'Reed,home,up,up-1,16x25x1,"gate code 12,\nmind the dog"\n'
        "Reed,home,up,up-2,0x25x1,\n"
    )
    report = importing(installed=text)
    assert places(report) == [(4, "nominal_size")]
    fixed = importing(installed=text.replace("0x25x1", "16x20x1"))
    assert not fixed.faults
    slot = Site.objects.get().systems.get().slots.get(name="up-1")
    assert slot.access_notes == "gate code 12,\nmind the dog"


def test_rows_after_one_that_is_no_csv_are_still_checked(importing: Importing) -> None:
    report = importing(media=GOOD + '"a"b,16x25x1,8\nodd,16x25x1,99\n')
    assert places(report) == [(3, ""), (4, "merv")]


def test_a_quote_that_never_closes_is_a_fault(importing: Importing) -> None:
    report = importing(media=GOOD + '"open,16x25x1,8\nodd,16x25x1,8\n')
    assert [fault.line for fault in report.faults] == [3]
    assert not Media.objects.exists()


@pytest.mark.parametrize("row", ["pleat,16x25x1", "pleat,16x25x1,8,9", "pleat"])
def test_a_row_of_another_width_is_a_fault(importing: Importing, row: str) -> None:
    report = importing(media=f"media,nominal_size,merv\n{row}\n")
    assert places(report) == [(2, "")]
    assert "cells" in report.faults[0].reason


def test_empty_lines_and_trailing_commas_are_nothing(importing: Importing) -> None:
    assert not importing(media="media,nominal_size,merv\n\npleat,16x25x1,8,,\n,,\n").faults
    assert Media.objects.count() == 1


def test_windows_line_ends_and_none_at_the_end_are_read(importing: Importing) -> None:
    assert not importing(media=GOOD.strip().replace("\n", "\r\n").encode()).faults
    assert Media.objects.count() == 1


def test_a_long_value_is_cut_in_the_report_only(importing: Importing) -> None:
    report = importing(media=f"media,nominal_size,merv\n{'x' * 300},16x25x1,8\n")
    assert len(report.faults[0].value) == 300
    assert len(str(report.faults[0])) < 200


def test_a_name_that_holds_a_nul_is_refused(importing: Importing) -> None:
    assert places(importing(media="media,nominal_size,merv\nple\x00at,16x25x1,8\n")) == [(2, "media")]
    assert set(counts().values()) == {0}


def test_what_the_csv_module_writes_is_read_back(importing: Importing) -> None:
    name = 'O\'Neil, "the" pleat – 16″ ×'
    out = io.StringIO()
    csv.writer(out).writerows([["media", "nominal_size", "merv"], [name, "16x25x1", 8]])
    assert not importing(media=out.getvalue()).faults
    assert Media.objects.get().name == name


def test_an_apostrophe_against_running_is_no_part_of_the_cell(importing: Importing) -> None:
    assert not importing(media="media,nominal_size,merv\n'=1+1,16x25x1,8\n'-5,16x25x1,8\n").faults
    assert set(Media.objects.values_list("name", flat=True)) == {"=1+1", "'-5"}


def test_a_customers_name_may_be_as_long_as_the_record_holds(importing: Importing) -> None:
    row = f"customer,site,system,filter_slot,nominal_size\n{'x' * 200},a,a,a,16x25x1\n"
    assert not importing(installed=row).faults
    assert Site.objects.get().customer.name == "x" * 200


def test_a_reason_that_quotes_a_very_long_cell_is_cut(importing: Importing) -> None:
    report = importing(media=GOOD + f"long,{'9' * 4000}x25x1,8\n")
    assert len(report.faults[0].reason) < 310


def test_unseen_characters_are_written_out_on_one_line(importing: Importing) -> None:
    report = importing(media=GOOD + 'odd,"16x\x00\n25",8\n')
    assert "16x\\x00\\n25" in str(report.faults[0])
    assert all(line.isprintable() for line in report.lines())


@pytest.mark.parametrize("start", [b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"PK\x03\x04"])
def test_both_kinds_of_spreadsheet_files_are_named(importing: Importing, start: bytes) -> None:
    (fault,) = importing(media=start + bytes(300)).faults
    assert "spreadsheet" in fault.reason


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_named(importing: Importing, encoding: str) -> None:
    (fault,) = importing(media=GOOD.encode(encoding)).faults
    assert "UTF-16" in fault.reason


def test_faults_come_in_the_order_of_their_lines(importing: Importing) -> None:
    row = "Reed,{0},{0},{0},16x25x1,{1},{2}\n"
    report = importing(
        installed="customer,site,system,filter_slot,nominal_size,latitude,media\n"
        + row.format("a", "41", "")
        + row.format("b", "north", "")
        + row.format("c", "", "nope")
        + row.format("d", "91", "")
    )
    assert [line for line, _ in places(report)] == [2, 3, 3, 4, 5, 5]
