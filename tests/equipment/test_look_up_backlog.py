"""A search does not wait out the texts of a large import; the sweep writes what it leaves."""

import pytest

from equipment import look_up_refresh
from equipment.lookup import AT_A_SEARCH, look_up
from schedules.tasks import replan_changed
from tests.factories import NOW, FilterSlotFactory

pytestmark = pytest.mark.django_db


def test_a_search_writes_a_little_and_the_sweep_the_rest(monkeypatch: pytest.MonkeyPatch) -> None:
    look_up_refresh.refresh(NOW)
    monkeypatch.setattr(look_up_refresh, "AT_ONCE", 2)
    for at in range(2 * AT_A_SEARCH + 6):
        FilterSlotFactory(name=f"backlog {at}")
    look_up("backlog", NOW)
    assert look_up_refresh._is_due(NOW)
    replan_changed()
    assert not look_up_refresh._is_due(NOW)
    assert len(look_up("backlog", NOW)) == 2 * AT_A_SEARCH + 6
