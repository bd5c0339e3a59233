"""All that programs may ask, with what a machine makes up from the desk's own description of it."""

from typing import Any

import pytest
import requests
import schemathesis
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.extra.django import TestCase

from equipment import api_keys
from equipment.models import User
from servicedesk.api import api
from tests.factories import NOW, DeviceFactory, FilterSlotFactory, PlanFactory, UserFactory

DESCRIPTION = schemathesis.openapi.from_dict(api.get_openapi_schema(path_prefix="/api/v1/"))
OPERATIONS = [found.ok() for found in DESCRIPTION.get_all_operations()]
SOME = pytest.mark.parametrize("operation", OPERATIONS, ids=lambda one: one.label)


def asked(case: Any, key: str) -> Any:
    """What the desk answers to a made-up case that shows ``key``."""
    made = {**case.as_transport_kwargs(base_url="http://testserver")}
    wire = requests.Request(
        made["method"],
        made["url"],
        **{name: made[name] for name in ("params", "json", "data") if name in made},
    ).prepare()
    body = wire.body.encode() if isinstance(wire.body, str) else wire.body or b""
    return Client(raise_request_exception=False).generic(
        case.method, wire.path_url, body, wire.headers.get("Content-Type", "application/json"),
        headers={"Authorization": f"Bearer {key}"},
    )  # fmt: skip


class TestProgramsDrill(TestCase):
    """No program breaks the desk, whoever's key it shows; what is refused is refused as a problem."""

    def test_every_operation(self) -> None:
        manager = UserFactory(role=User.Role.MANAGER)
        slot = FilterSlotFactory(name="hall")
        PlanFactory(slot=slot)
        key = api_keys.make(manager, "a script", NOW)[1]
        device = DeviceFactory(system=slot.system)
        keys = [key, f"key-{device.name.removeprefix('logger-')}"]
        assert len(OPERATIONS) >= 12
        for operation in OPERATIONS:
            with self.subTest(operation.label):
                self.drill(operation, keys)

    def drill(self, operation: Any, keys: list[str]) -> None:
        @settings(
            max_examples=6, deadline=None, database=None,
            suppress_health_check=list(HealthCheck), derandomize=True, phases=[Phase.generate],
        )  # fmt: skip
        @given(case=operation.as_strategy())
        def every_case(case: Any) -> None:
            for key in keys:
                answer = asked(case, key)
                assert answer.status_code < 500, answer.content
                if answer.status_code >= 400:
                    assert answer["Content-Type"] == "application/problem+json", answer.content

        every_case()
