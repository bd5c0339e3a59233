"""Sheets by program: sent, looked at, stored or put aside; and all of them out again."""

from typing import Any

from django.http import Http404, HttpRequest, StreamingHttpResponse
from django.utils import timezone
from django.utils.translation import gettext as _
from ninja import File, Router, Schema, Status, UploadedFile

from equipment.access import signed_in
from equipment.models import AirDay
from equipment.sheets import uploads, waiting
from equipment.sheets.faults import Report
from equipment.sheets.importer import NoSheets
from equipment.sheets.zipped import one_sheet, zipped_sheets
from shared.form_bodies import Faulty, Refusal, fault

router = Router()
_FAULTS_SHOWN = 500


class CountOut(Schema):
    """How many rows of a sheet were read and what becomes of them."""

    sheet: str
    read: int
    new: int
    changed: int
    same: int
    refused: int


class DifferenceOut(Schema):
    """A cell that says other than the record."""

    sheet: str
    line: int
    column: str
    before: str
    after: str


class FaultOut(Schema):
    """What is wrong at which cell; line 1 is the header."""

    sheet: str
    line: int
    column: str
    value: str
    reason: str


class PreviewOut(Schema):
    """What storing the sheets does: the ``upload`` is stored by its name within an hour. The first hundred
    differences and five hundred faults; ``more``: there are more differences."""

    upload: str
    stored: bool
    counts: list[CountOut]
    remarks: list[str]
    differences: list[DifferenceOut]
    more: bool
    faults: list[FaultOut]


class AsideOut(Schema):
    """An upload of which nothing is stored."""

    upload: str
    aside: bool


class StoreIn(Schema):
    """Whether the rows without a fault are stored where others have one."""

    keep_good: bool = False


@router.post("/sheets", url_name="api-sheets", response={201: PreviewOut}, tags=["sheets"])
def send(request: HttpRequest, sheets: File[list[UploadedFile]]) -> Any:
    """Send sheets as files, and see what storing them would change; nothing is stored yet."""
    upload = waiting.begin(signed_in(request).pk, timezone.now())
    unread = uploads.keep(sheets, upload.folder)
    try:
        report = upload.shown(timezone.now())
    except NoSheets:
        upload.forget()
        why = _("Send at least one sheet; the file's name says which it is, such as installed.csv.")
        raise fault("sheets", why) from None
    report.remarks[:0] = unread
    return Status(201, _preview(upload.name, report))


@router.post("/sheets/{upload}/stored", url_name="api-sheets-stored", response=PreviewOut, tags=["sheets"])
def store(request: HttpRequest, upload: str, told: StoreIn) -> Any:
    """Store what was shown: all of it, or nothing and every fault; 409 with a new look where it would do
    something else by now."""
    found = waiting.find(upload, signed_in(request).pk, timezone.now())
    report = found.store(timezone.now(), keep_good=told.keep_good)
    if report.stored:
        return _preview(upload, report)
    if report.faults and not told.keep_good:
        raise Faulty([_place(one) for one in report.faults])
    said = _("Storing it would do something else by now: look at it, and store it again.")
    raise Refusal(409, said, preview=_preview(upload, report).dict())


@router.post("/sheets/{upload}/aside", url_name="api-sheets-aside", response=AsideOut, tags=["sheets"])
def put_aside(request: HttpRequest, upload: str) -> Any:
    """Take sheets that wait off the disk; nothing of them is stored."""
    waiting.find(upload, signed_in(request).pk, timezone.now()).put_aside()
    return AsideOut(upload=upload, aside=True)


@router.get("/sheets.zip", url_name="api-sheets-zip", tags=["sheets"], openapi_extra={"responses": {200: {
    "description": "OK", "content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}},
}}})  # fmt: skip
def everything(request: HttpRequest) -> Any:
    """All sheets as one zip."""
    return StreamingHttpResponse(zipped_sheets(), content_type="application/zip")


@router.get("/sheets/{name}", url_name="api-sheet", tags=["sheets"], openapi_extra={"responses": {200: {
    "description": "OK", "content": {"text/csv": {"schema": {"type": "string"}}},
}}})  # fmt: skip
def one(request: HttpRequest, name: str) -> Any:
    """One sheet as CSV, such as installed.csv; air.csv only where there is any."""
    if name not in uploads.KNOWN or (name == "air.csv" and not AirDay.objects.exists()):
        raise Http404
    return StreamingHttpResponse(one_sheet(name), content_type="text/csv; charset=utf-8")


def _preview(upload: str, report: Report) -> PreviewOut:
    tally = report.tally
    counts = [(name, read, tally.rows[name]) for name, read in report.rows.items()]
    return PreviewOut(
        upload=upload, stored=report.stored, remarks=report.remarks, more=tally.more,
        counts=[
            CountOut(
                sheet=name, read=read, new=one.new, changed=one.changed, same=one.same,
                refused=read - one.new - one.changed - one.same,
            )
            for name, read, one in counts
        ],
        differences=[DifferenceOut(**vars(one)) for one in tally.differences],
        faults=[FaultOut(**vars(one)) for one in report.faults[:_FAULTS_SHOWN]],
    )  # fmt: skip


def _place(one: Any) -> dict[str, str]:
    return {"at": "/".join(filter(None, (one.sheet, str(one.line), one.column))), "why": str(one)}
