"""The sheets through the browser: everything out, and in with a look at what would change."""

from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.text import Truncator
from django.utils.translation import gettext as _

from equipment.access import signed_in
from equipment.sheets import uploads, waiting
from equipment.sheets.faults import Report
from equipment.sheets.importer import SHEETS, NoSheets
from equipment.sheets.waiting import NotWaiting, Upload
from equipment.sheets.zipped import zipped_sheets
from equipment.stations import quiet_stations
from schedules import due

_FAULTS_SHOWN, _LONGEST = 500, 400
Context = dict[str, object]


def page(request: HttpRequest) -> HttpResponse:
    """Show the form, or what is to be said of an upload; keep the files that were sent, or do what was
    pressed, and go on to the page that says what came of it, which can be loaded anew as often as one likes.
    """
    if request.method != "POST":
        return _of_upload(request) if "upload" in request.GET else _shown(request, {})
    pressed = _PRESSED.get(request.POST.get("press", ""), _sent)
    return pressed(request)


def _of_upload(request: HttpRequest) -> HttpResponse:
    try:
        told = waiting.told(request.GET["upload"], signed_in(request).pk, timezone.now())
    except NotWaiting as error:
        return _shown(request, {"error": str(error)}, 410)
    return _shown(request, told)


def _sent(request: HttpRequest) -> HttpResponse:
    """Keep the files, and show what storing them would change."""
    upload = waiting.begin(signed_in(request).pk, timezone.now())
    unread = uploads.keep(request.FILES.getlist("sheets"), upload.folder)
    try:
        report = upload.shown(timezone.now())
    except NoSheets:
        upload.forget()
        error = _("Choose at least one sheet; the file's name says which it is, such as installed.csv.")
        return _shown(request, {"error": error, "unread": unread}, 422)
    report.remarks[:0] = unread
    return _preview(upload, report)


def _store(request: HttpRequest) -> HttpResponse:
    """Store the upload that was shown; where it would do something else by now, show that instead."""
    keep_good = bool(request.POST.get("keep_good"))
    try:
        upload = _asked_for(request)
        report = upload.store(timezone.now(), keep_good=keep_good)
    except NotWaiting as error:
        return _shown(request, {"error": str(error)}, 409)
    if not report.stored:
        return _preview(upload, report, overtaken=keep_good or not report.faults)
    return _go_on(upload, _told(report) | {"stored": True})


def _put_aside(request: HttpRequest) -> HttpResponse:
    """Take the upload off the disk, with nothing stored."""
    try:
        upload = _asked_for(request)
        upload.put_aside()
    except NotWaiting as error:
        return _shown(request, {"error": str(error)}, 409)
    return _go_on(upload, {"aside": True})


_PRESSED = {"store": _store, "aside": _put_aside}


def everything(request: HttpRequest) -> StreamingHttpResponse:
    """All sheets as one zip."""
    answer = StreamingHttpResponse(zipped_sheets(), content_type="application/zip")
    day = due.today(timezone.now())
    answer["Content-Disposition"] = f'attachment; filename="sheets-{day.isoformat()}.zip"'
    answer["Cache-Control"] = "no-store"
    return answer


def _preview(upload: Upload, report: Report, *, overtaken: bool = False) -> HttpResponse:
    rows = report.tally.rows.values()
    some = any(sheet.new or sheet.changed for sheet in rows)
    told = _told(report) | {"upload": upload.name, "overtaken": overtaken, "something": some}
    if not some:
        upload.nothing_to_store()
    return _go_on(upload, told)


def _go_on(upload: Upload, told: Context) -> HttpResponse:
    upload.keep_told(told)
    return redirect(f"{reverse('sheets')}?{urlencode({'upload': upload.name})}")


def _told(report: Report) -> Context:
    """The report for the page, in plain values: each sheet's rows as new, changed, the same, refused."""
    tally = report.tally
    return {
        "told": True,
        "fault_count": len(report.faults),
        "faults": [_cut(asdict(fault)) for fault in report.faults[:_FAULTS_SHOWN]],
        "counts": [
            (name, count, asdict(tally.rows[name]), _refused(report, name))
            for name, count in report.rows.items()
        ],
        "differences": [_cut(asdict(change)) for change in tally.differences],
        "more": tally.more,
        "remarks": report.remarks,
    }


def _cut(cells: dict[str, Any]) -> dict[str, Any]:
    """As much of each as is shown; a cell may be a whole book."""
    return {
        name: Truncator(one).chars(_LONGEST) if isinstance(one, str) else one for name, one in cells.items()
    }


def _refused(report: Report, name: str) -> int:
    rows = report.tally.rows[name]
    return report.rows[name] - rows.new - rows.changed - rows.same


def _shown(request: HttpRequest, more: Context, status: int = 200) -> HttpResponse:
    known = {name: list(columns) for name, columns, _load in SHEETS}
    quiet = quiet_stations(due.today(timezone.now()))
    return render(
        request, "servicedesk/sheets.html", {"known": known, "quiet_stations": quiet} | more, status=status
    )


def _asked_for(request: HttpRequest) -> Upload:
    """The upload that the form names. Raises NotWaiting."""
    return waiting.find(request.POST.get("upload", ""), signed_in(request).pk, timezone.now())
