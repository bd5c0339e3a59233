"""The sheets through the browser: the same import as the command's."""

import tempfile
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _

from equipment.sheets.faults import Report, printable
from equipment.sheets.importer import SHEETS, NoSheets, import_sheets
from equipment.stations import quiet_stations
from schedules import due

LARGEST_BYTES = 200_000_000


def page(request: HttpRequest) -> HttpResponse:
    """Show the form, or read the files and show what came of it."""
    known = {name: list(columns) for name, columns, _load in SHEETS}
    context: dict[str, object] = {"known": known}
    status = 200
    if request.method == "POST":
        unread = _unread(request)
        context["unread"] = unread
        try:
            report = _read(request)
        except NoSheets:
            context["error"] = _(
                "Choose at least one sheet; the file's name says which it is, such as installed.csv."
            )
            status = 422
        else:
            report.remarks[:0] = unread
            context["report"] = report
            context["faults"] = report.faults[:500]
            context["counts"] = [
                (name, rows, report.changed.get(name, 0)) for name, rows in report.rows.items()
            ]
            status = 200 if report.stored else 422
    context["quiet_stations"] = quiet_stations(due.today(timezone.now()))
    return render(request, "servicedesk/sheets.html", context, status=status)


def _unread(request: HttpRequest) -> list[str]:
    """Which files that were sent are left unread, and why."""
    known, seen, said = {name for name, _columns, _load in SHEETS}, set[str](), list[str]()
    for file in request.FILES.getlist("sheets"):
        shown, name = printable(file.name or "?"), Path(file.name or "").name.lower()
        if name not in known:
            said.append(_("%(name)s: not a sheet known here, left unread") % {"name": shown})
        elif (file.size or 0) > LARGEST_BYTES:
            size = LARGEST_BYTES // 1_000_000
            said.append(
                _("%(name)s: larger than %(size)d MB, left unread; use the command")
                % {"name": shown, "size": size}
            )
        elif name in seen:
            said.append(_("%(name)s: sent twice, only the last was read") % {"name": shown})
        seen.add(name)
    return said


def _read(request: HttpRequest) -> Report:
    known = {name for name, _columns, _load in SHEETS}
    with tempfile.TemporaryDirectory() as folder:
        for file in request.FILES.getlist("sheets"):
            name = Path(file.name or "").name.lower()
            if name in known and (file.size or 0) <= LARGEST_BYTES:
                with (Path(folder) / name).open("wb") as out:
                    out.writelines(file.chunks())
        return import_sheets(Path(folder), timezone.now(), keep_good=bool(request.POST.get("keep_good")))
