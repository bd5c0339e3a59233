"""The page of the desk's rules: every rule in a group, the accepted risk said in words."""

import pytest
from django.contrib import admin
from django.test import Client
from django.urls import reverse

from schedules.models import Policy

pytestmark = pytest.mark.django_db


def test_every_rule_that_may_be_set_stands_in_one_group() -> None:
    groups = admin.site.get_model_admin(Policy).fieldsets or ()
    named = [str(name) for _title, group in groups for name in group["fields"]]
    editable = {field.name for field in Policy._meta.fields if field.editable and not field.primary_key}
    assert len(named) == len(set(named))
    assert set(named) == editable


def test_the_accepted_risk_is_explained_beside_it(manager: Client) -> None:
    page = manager.get(reverse("admin:schedules_policy_change", args=[Policy.the().pk])).text
    assert "0.2 is one in five" in page
    assert (
        page.index("When a filter comes out") < page.index('name="accepted_risk"') < page.index("Roads and")
    )
