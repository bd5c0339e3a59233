"""The whole desk in a file and back: the same bytes, the next number; clear words about any other file."""

import json
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from zipfile import ZipFile

import pytest
from django.contrib.auth.hashers import make_password
from django.core.management import CommandError, call_command
from django.db import connection, models, transaction

from equipment.models import Customer, Desk, FilterSlot, User
from schedules.models import Photograph, Visit
from servicedesk.archive.restore import NotRestorable, restore_archive
from servicedesk.archive.tables import name_of, tables
from servicedesk.archive.write import CONTENTS, write_archive
from tests.factories import (
    NOW,
    CustomerFactory,
    MediaFactory,
    PhotographFactory,
    UserFactory,
    VisitFactory,
    every,
)

pytestmark = pytest.mark.django_db


def fill() -> None:
    """A row of every table, names that are no ASCII, and a visit number that is given and gone."""
    for factory in every():
        factory()
    CustomerFactory(name="Ñandú “& sons” עברית\n=1+1")
    UserFactory(username="kept", password=make_password("a long word"))
    PhotographFactory(jpeg=bytes(range(256)))
    MediaFactory(price=Decimal("12.50"))
    visit = VisitFactory()
    visit.wanted = "altered, so that its history has two rows"
    visit.save()
    VisitFactory().delete()


def emptied() -> None:
    """As a database is that was just made: no rows, and no numbers given."""
    with connection.constraint_checks_disabled():
        for model in tables():
            with connection.cursor() as cursor:
                cursor.execute(f"DELETE FROM {connection.ops.quote_name(model._meta.db_table)}")
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence")
            return
        for model in tables():
            key, table = model._meta.pk, connection.ops.quote_name(model._meta.db_table)
            if isinstance(key, models.AutoField):
                cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), 1, false)", [table, key.column])


def entries(path: Path) -> dict[str, bytes]:
    with ZipFile(path) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


@contextmanager
def rewritten(path: Path, name: str) -> Iterator[list[bytes]]:
    """The lines of an entry, written back as they are left."""
    held = entries(path)
    lines = held[name].splitlines(keepends=True)
    yield lines
    held[name] = b"".join(lines)
    with ZipFile(path, "w") as archive:
        for entry, body in held.items():
            archive.writestr(entry, body)


def test_what_was_written_comes_back_to_the_byte_and_numbers_go_on(tmp_path: Path) -> None:
    fill()
    told = write_archive(tmp_path / "one.zip", NOW)
    empty = {name for name, rows in told.items() if not rows}
    assert not {name for name in empty if "_" not in name.split(".")[1]}
    highest = Visit.objects.order_by("-pk").first()
    assert highest
    emptied()
    assert not Customer.objects.exists()
    assert restore_archive(tmp_path / "one.zip") == told
    write_archive(tmp_path / "two.zip", NOW)
    assert entries(tmp_path / "one.zip") == entries(tmp_path / "two.zip")
    assert VisitFactory().pk == highest.pk + 2
    assert User.objects.get(username="kept").check_password("a long word")
    assert bytes(Photograph.objects.order_by("-pk")[0].jpeg) == bytes(range(256))
    # The look-up has noted for itself that all of it is new.
    slot = FilterSlot.objects.first()
    assert slot
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM equipment_look_up_stale WHERE kind = 'slot' AND ref = %s", [slot.pk]
        )
        assert cursor.fetchone()[0]


def test_an_archive_is_its_owners_alone_and_whole_or_not_there(tmp_path: Path) -> None:
    path = tmp_path / "desk.zip"
    write_archive(path, NOW)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with pytest.raises(CommandError, match="cannot be written"):
        call_command("archive_desk", str(tmp_path / "nowhere" / "desk.zip"))
    assert [one.name for one in tmp_path.iterdir()] == ["desk.zip"]


def test_a_desk_that_is_not_empty_is_left_alone(tmp_path: Path) -> None:
    write_archive(tmp_path / "desk.zip", NOW)
    CustomerFactory(name="already here")
    with pytest.raises(CommandError, match=r"not empty: it has rows of equipment\.customer"):
        call_command("restore_desk", str(tmp_path / "desk.zip"))
    assert Customer.objects.get().name == "already here"


def test_a_desk_that_was_only_looked_at_is_empty(tmp_path: Path) -> None:
    Desk.objects.update_or_create(pk=1, defaults={"name": "Elm and Ash Air"})
    write_archive(tmp_path / "desk.zip", NOW)
    Desk.objects.update(name="")
    restore_archive(tmp_path / "desk.zip")
    assert Desk.objects.get().name == "Elm and Ash Air"


def damaged(path: Path, how: str) -> None:
    with rewritten(path, "equipment.customer.jsonl") as lines:
        if how == "a row is gone":
            lines.pop()
        elif how == "a letter is another":
            lines[0] = lines[0].replace(b"a", b"b", 1)
        elif how == "a row is short":
            lines[0] = b"[1]\n"
        elif how == "no JSON":
            lines[0] = b"{\n"
        elif how == "a date that is none":
            lines[0] = json.dumps(["x"] * len(json.loads(lines[0]))).encode() + b"\n"


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("a row is gone", "the archive is damaged"),
        ("a letter is another", "the archive is damaged"),
        ("a row is short", "has not"),
        ("no JSON", "cannot be read"),
        ("a date that is none", "cannot be"),
    ],
)
def test_what_was_meddled_with_is_refused_and_nothing_is_stored(tmp_path: Path, how: str, said: str) -> None:
    CustomerFactory(name="Alder and Hall")
    write_archive(tmp_path / "desk.zip", NOW)
    damaged(tmp_path / "desk.zip", how)
    emptied()
    with pytest.raises(NotRestorable, match=said):
        restore_archive(tmp_path / "desk.zip")
    assert not any(model._base_manager.exists() for model in tables() if model is not Desk)


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("form", 9, "a form that this version does not read"),
        ("migrations", ["equipment.9999_later"], "made by a later version"),
        ("migrations", [], "made before"),
        ("tables", {}, "differ in"),
        ("tables", [], "no table of contents"),
        ("tables", {"equipment.site": {"columns": [], "rows": 1, "last": 0}}, "no table of contents"),
        ("tables", {"equipment.site": {"columns": [], "rows": "x", "last": 0, "sha256": ""}}, "no table"),
    ],
)
def test_an_archive_of_another_version_says_which(
    tmp_path: Path, name: str, value: object, said: str
) -> None:
    write_archive(tmp_path / "desk.zip", NOW)
    with rewritten(tmp_path / "desk.zip", CONTENTS) as lines:
        lines[:] = [json.dumps(json.loads(b"".join(lines)) | {name: value}).encode()]
    with pytest.raises(NotRestorable, match=said):
        restore_archive(tmp_path / "desk.zip")


@pytest.mark.parametrize("body", [b"", b"no zip", b"PK\x05\x06" + bytes(18)])
def test_a_file_that_is_none_is_said(tmp_path: Path, body: bytes) -> None:
    (tmp_path / "desk.zip").write_bytes(body)
    with pytest.raises(NotRestorable, match="is no"):
        restore_archive(tmp_path / "desk.zip")
    with pytest.raises(NotRestorable, match="no whole archive"):
        restore_archive(tmp_path / "nowhere.zip")


@pytest.mark.django_db(transaction=True)
def test_a_row_that_leads_nowhere_is_refused(tmp_path: Path) -> None:
    """Sums that fit do not help where the rows do not hold together."""
    VisitFactory()
    write_archive(tmp_path / "desk.zip", NOW)
    emptied_for_good()
    with rewritten(tmp_path / "desk.zip", CONTENTS) as lines:
        told = json.loads(b"".join(lines))
        empty = {"rows": 0, "sha256": "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"}
        told["tables"]["equipment.site"] |= empty
        lines[:] = [json.dumps(told).encode()]
    with rewritten(tmp_path / "desk.zip", "equipment.site.jsonl") as lines:
        lines.clear()
    with pytest.raises(NotRestorable, match="does not hold together"):
        restore_archive(tmp_path / "desk.zip")
    assert not Visit.objects.exists()


def emptied_for_good() -> None:
    with transaction.atomic():
        emptied()


def test_every_table_of_the_desk_is_in_it() -> None:
    names = {name_of(model) for model in tables()}
    assert {"equipment.site", "equipment.historicalsite", "schedules.homehours_not_by"} <= names
    assert not {name for name in names if "permission" in name or "group" in name}


def test_every_kind_of_column_has_a_way_to_be_written() -> None:
    kinds = {field.get_internal_type() for model in tables() for field in model._meta.concrete_fields}
    assert kinds <= {
        "AutoField", "BigAutoField", "BigIntegerField", "BinaryField", "BooleanField", "CharField",
        "DateField", "DateTimeField", "DecimalField", "FloatField", "ForeignKey", "IntegerField", "JSONField",
        "OneToOneField",
        "PositiveBigIntegerField", "PositiveIntegerField", "PositiveSmallIntegerField", "SmallIntegerField",
        "TextField", "TimeField", "UUIDField",
    }  # fmt: skip


def test_bytes_that_were_spoilt_on_a_disk_are_said(tmp_path: Path) -> None:
    CustomerFactory.create_batch(300)
    path = tmp_path / "desk.zip"
    write_archive(path, NOW)
    body = bytearray(path.read_bytes())
    for at in range(400, 440):
        body[at] ^= 0xFF
    path.write_bytes(bytes(body))
    emptied()
    with pytest.raises(NotRestorable):
        restore_archive(path)
    assert not Customer.objects.exists()
