"""Write the whole desk into one file: every row of its tables as it stood at one moment."""

import hashlib
import json
import os
import tempfile
from datetime import datetime
from pathlib import Path
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile, ZipInfo

from django.db import models

from equipment.sheets.one_moment import one_moment
from servicedesk.archive.tables import as_line, columns, last_number, migrations, name_of, tables

FORM = 1
CONTENTS = "contents.json"
_CHUNK = 2000
# Of no moment, so that the same desk gives the same bytes.
_STAMP = (1980, 1, 1, 0, 0, 0)


def write_archive(path: Path, now: datetime) -> dict[str, int]:
    """Write the desk to ``path``, whole or not at all; how many rows each table has.

    The file holds what a thief would want (people, ways in, prints of passwords and keys) and is readable by
    its owner alone. Memory stays bounded. Raises OSError where it cannot be written.
    """
    handle, half = tempfile.mkstemp(dir=path.absolute().parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file, ZipFile(file, "w", ZIP_DEFLATED) as archive:
            told = _contents(archive, now)
        Path(half).replace(path)
    except BaseException:
        Path(half).unlink(missing_ok=True)
        raise
    return {name: table["rows"] for name, table in told["tables"].items()}


def _contents(archive: ZipFile, now: datetime) -> dict[str, Any]:
    with one_moment():
        told = {
            "form": FORM,
            "made_at": now.isoformat(),
            "migrations": migrations(),
            "tables": {name_of(model): _table(archive, model) for model in tables()},
        }
    archive.writestr(_entry(CONTENTS), json.dumps(told, indent=1))
    return told


def _entry(name: str) -> ZipInfo:
    info = ZipInfo(name, _STAMP)
    info.compress_type, info.external_attr = ZIP_DEFLATED, 0o600 << 16
    return info


def _table(archive: ZipFile, model: type[models.Model]) -> dict[str, Any]:
    fields, rows, digest = [field.attname for field in columns(model)], 0, hashlib.sha256()
    key = model._meta.pk
    assert key is not None  # noqa: S101
    found = model._base_manager.order_by(key.attname).values_list(*fields)
    with archive.open(_entry(f"{name_of(model)}.jsonl"), "w", force_zip64=True) as out:
        for values in found.iterator(_CHUNK):
            line = as_line(values)
            out.write(line)
            digest.update(line)
            rows += 1
    return {"columns": fields, "rows": rows, "sha256": digest.hexdigest(), "last": last_number(model)}
