"""A worker of the nightly pass is killed at each of its stages; the pass ends as an undisturbed one."""

from datetime import timedelta

import pytest

from equipment.models import FilterSlot
from schedules import due, night
from schedules.models import Night, NightPart, Plan
from tests.drills.conftest import Elsewhere
from tests.factories import FilterSlotFactory, MediaFactory, MediaPointFactory
from tests.factories.clock import NOW, TODAY
from tests.schedules.test_night import plans, whole_night

pytestmark = pytest.mark.django_db(transaction=True)
HOMES = 4
MIDNIGHT = NOW + timedelta(days=1)


@pytest.mark.parametrize(
    "stage",
    [
        "writing",
        *(pytest.param(stage, marks=pytest.mark.long) for stage in ("taken", "reckoned", "written", "done")),
    ],
)
def test_after_a_kill_another_worker_ends_the_night(
    stage: str, elsewhere: Elsewhere, monkeypatch: pytest.MonkeyPatch
) -> None:
    media = MediaFactory()
    MediaPointFactory(media=media, airflow_m3s=0.2, clean_drop_pa=20.0)
    for n in range(HOMES):
        FilterSlotFactory(first_media=media, fitted_on=TODAY - timedelta(days=40 * n))
    due.replan(NOW)
    FilterSlot.objects.update(facts_changed_at=MIDNIGHT)
    monkeypatch.setattr(due, "LARGE", 0)
    monkeypatch.setattr(night, "HOMES_A_PART", 3)
    night.begin(MIDNIGHT)
    elsewhere.hand_over()
    killed = elsewhere.start("-m", "tests.drills.nightworker", stage, MIDNIGHT.isoformat())
    assert killed.stdout
    assert killed.stdout.readline().strip() == "stopped"
    killed.kill()
    killed.communicate()
    elsewhere.take_back()
    taken = NightPart.objects.get(claimed_by="to be killed")
    assert taken.done_at is None

    assert len(whole_night(MIDNIGHT)) == NightPart.objects.count() - 1
    assert Night.objects.get().finished_at is None
    later = MIDNIGHT + night.LOST_AFTER + timedelta(seconds=1)
    assert [part.pk for part in whole_night(later)] == [taken.pk]
    assert Night.objects.get().finished_at == later
    by_night = plans()
    assert set(Plan.objects.values_list("as_of", flat=True)) == {due.today(MIDNIGHT)}
    Plan.objects.all().delete()
    due.replan(later)
    assert plans() == by_night
