"""Every model has a factory whose row the model itself accepts."""

from typing import Any

import pytest
from django.apps import apps
from factory.django import DjangoModelFactory

from tests.factories import every


@pytest.mark.parametrize("factory", every(), ids=lambda factory: factory.__name__)
def test_the_row_of_a_factory_is_valid(db: None, factory: type[DjangoModelFactory[Any]]) -> None:
    row = factory()
    row.full_clean()
    assert type(row).objects.filter(pk=row.pk).exists()


def test_every_model_of_ours_has_a_factory() -> None:
    models = {
        model
        for app in ("equipment", "schedules")
        for model in apps.get_app_config(app).get_models()
        if not model.__name__.startswith("Historical")
    }
    assert models == {factory._meta.model for factory in every()}
