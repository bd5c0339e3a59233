"""A restore that is killed half-way."""

from pathlib import Path

import pytest

from servicedesk.archive.tables import tables
from servicedesk.archive.write import write_archive
from tests.drills.conftest import ROOT, Elsewhere
from tests.factories import NOW, VisitFactory
from tests.servicedesk.test_archive import emptied_for_good, entries

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.served
def test_after_a_kill_half_way_nothing_is_there_and_the_next_restore_is_whole(
    elsewhere: Elsewhere, tmp_path: Path
) -> None:
    VisitFactory.create_batch(3)
    write_archive(tmp_path / "desk.zip", NOW)
    emptied_for_good()
    elsewhere.hand_over()
    killed = elsewhere.start("-m", "tests.drills.restorer", str(tmp_path / "desk.zip"))
    assert killed.stdout
    assert killed.stdout.readline().split() == ["3", "3"]
    killed.kill()
    killed.communicate()
    elsewhere.take_back()
    assert not any(model._base_manager.exists() for model in tables())

    elsewhere.hand_over()
    again = elsewhere.start(str(ROOT / "manage.py"), "restore_desk", str(tmp_path / "desk.zip"))
    said, _ = again.communicate(timeout=60)
    assert again.returncode == 0, said
    assert "are back." in said
    elsewhere.take_back()
    write_archive(tmp_path / "again.zip", NOW)
    assert entries(tmp_path / "again.zip") == entries(tmp_path / "desk.zip")
