"""Read an archive of the desk back into an empty one: all of it or nothing."""

import hashlib
import json
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from zipfile import BadZipFile, ZipFile

from django.db import DatabaseError, connection, models, transaction
from django.utils.translation import gettext as _

from equipment import bulk
from equipment.models import Desk
from equipment.sheets.context import batches
from schedules.models import Policy
from servicedesk.archive.tables import Row, as_row, columns, migrations, name_of, set_last_number, tables
from servicedesk.archive.write import CONTENTS, FORM

_ROWS_AT_ONCE = 1000
# A desk makes these for itself as soon as a page is looked at.
_MADE_AT_SIGHT: tuple[type[models.Model], ...] = (Desk, Policy)
_LONGEST_LINE = 64 * 2**20


class NotRestorable(ValueError):
    """The archive cannot be read into this desk; the message says why in plain words."""


def restore_archive(path: Path) -> dict[str, int]:
    """Read ``path`` into this desk, which has to be empty; how many rows each table has.

    In one transaction, held to the archive's own counts and sums. Raises NotRestorable, with nothing stored.
    """
    try:
        with ZipFile(path) as archive:
            told = _told(archive)
            with transaction.atomic():
                _make_room()
                counts = {name_of(model): _table(archive, model, told) for model in tables()}
                connection.check_constraints()
    except (OSError, BadZipFile, zlib.error, EOFError) as error:
        raise NotRestorable(
            _("%(path)s is no whole archive: %(why)s") % {"path": path, "why": error}
        ) from None
    except DatabaseError as error:
        raise NotRestorable(_("The archive does not hold together: %(why)s") % {"why": error}) from None
    return counts


def _told(archive: ZipFile) -> dict[str, Any]:
    try:
        told: dict[str, Any] = json.loads(archive.read(CONTENTS))
        form, applied, known = told["form"], set(told["migrations"]), set(told["tables"])
        for about in told["tables"].values():
            list(about["columns"]), str(about["sha256"]), int(about["rows"]), int(about["last"])
    except (KeyError, ValueError, TypeError, AttributeError, zlib.error):
        raise NotRestorable(_("The file is no archive of a desk: it has no table of contents.")) from None
    if form != FORM:
        raise NotRestorable(_("The archive has a form that this version does not read."))
    here = set(migrations())
    if applied - here:
        raise NotRestorable(
            _("The archive was made by a later version, which has %(what)s: install that one first.")
            % {"what": max(applied - here)}
        )
    if here - applied:
        raise NotRestorable(
            _("The archive was made before %(what)s: restore it in the version that made it, then bring that "
              "up to date.") % {"what": min(here - applied)}
        )  # fmt: skip
    missing = {name_of(model) for model in tables()} ^ known
    if missing:
        raise NotRestorable(_("The archive and this desk differ in %(what)s.") % {"what": min(missing)})
    return told


def _make_room() -> None:
    for model in tables():
        if model in _MADE_AT_SIGHT:
            model._base_manager.all().delete()
        elif model._base_manager.exists():
            raise NotRestorable(
                _("This desk is not empty: it has rows of %(what)s. An archive is read into a new desk only.")
                % {"what": name_of(model)}
            )


def _table(archive: ZipFile, model: type[models.Model], told: dict[str, Any]) -> int:
    name, about = name_of(model), told["tables"][name_of(model)]
    fields = columns(model)
    if about["columns"] != [field.attname for field in fields]:
        raise NotRestorable(_("The columns of %(what)s are not those of this desk.") % {"what": name})
    into = [field.column for field in fields]
    digest, rows = hashlib.sha256(), 0
    for some in batches(_rows(archive, model, digest), _ROWS_AT_ONCE):
        bulk.store(model._meta.db_table, into, some)
        rows += len(some)
    if (rows, digest.hexdigest()) != (about["rows"], about["sha256"]):
        raise NotRestorable(_("%(what)s is not as it was written: the archive is damaged.") % {"what": name})
    set_last_number(model, int(about["last"]))
    return rows


def _rows(archive: ZipFile, model: type[models.Model], digest: Any) -> Iterator[Row]:
    try:
        with archive.open(f"{name_of(model)}.jsonl") as lines:
            while line := lines.readline(_LONGEST_LINE):
                digest.update(line)
                yield as_row(model, line)
    except (KeyError, ValueError) as error:
        raise NotRestorable(_("The archive cannot be read: %(why)s") % {"why": error}) from None
