"""Many rows written at once: what goes in stands there, on either database."""

from datetime import timedelta

import pytest

from equipment import bulk
from equipment.models import Site
from schedules.models import Plan
from tests.factories import CustomerFactory, PlanFactory

pytestmark = pytest.mark.django_db


def test_rows_hold_what_was_given_and_their_defaults() -> None:
    customer = CustomerFactory()
    assert (
        bulk.insert(Site, {"name": ["a\tb", "c\\n"], "customer_id": [customer.pk] * 2, "pets": [True, None]})
        == 2
    )
    rows = Site.objects.order_by("pk").values_list("name", "pets", "street", "vacant_since")
    assert list(rows) == [("a\tb", True, "", None), ("c\\n", None, "", None)]


def test_a_column_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="has no column colour"):
        bulk.insert(Site, {"name": ["a"], "colour": ["red"]})


@pytest.mark.parametrize("count", [2, 60])
def test_a_row_of_newer_facts_stays(count: int) -> None:
    """By single rows and, on PostgreSQL, by a table between."""
    plans = PlanFactory.create_batch(count)
    newer = plans[0].facts_at + timedelta(minutes=1)
    Plan.objects.filter(pk=plans[0].pk).update(facts_at=newer, reason="risk")
    fields = [
        Plan._meta.get_field(name)
        for name in ("slot", "reason", "as_of", "facts_at", "made_at", "notes", "findings", "finding_count")
    ]
    for plan in plans:
        plan.reason = "cost"
    bulk.put(Plan, "slot_id", fields, plans, "excluded.facts_at >= schedules_plan.facts_at")
    reasons = list(Plan.objects.order_by("pk").values_list("reason", flat=True))
    assert reasons == ["risk", *["cost"] * (count - 1)]
