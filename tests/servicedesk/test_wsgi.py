"""The entry for servers leaves what was loaded out of later collections of garbage."""

import subprocess
import sys

import pytest

from tests.servicedesk.test_serve import ROOT

pytestmark = pytest.mark.once
_ASKED = """
import gc
from servicedesk.wsgi import application
frozen, left = gc.get_freeze_count(), len(gc.get_objects())
print(frozen, left)
"""


def test_what_was_loaded_is_not_gone_over_again() -> None:
    said = subprocess.run(
        [sys.executable, "-P", "-c", _ASKED], cwd=ROOT, capture_output=True, text=True, check=True
    )
    frozen, left = map(int, said.stdout.split())
    assert frozen > 50_000
    assert left < frozen / 10
