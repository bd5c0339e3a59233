"""What a key may look like."""

import secrets

import pytest

from shared.keys import new_key


def test_no_key_begins_like_an_option(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter(["-of_a_command", "--withdraw", "8ness"])
    monkeypatch.setattr(secrets, "token_urlsafe", lambda size: next(drawn))
    assert new_key() == "8ness"


def test_keys_are_long_and_none_like_the_other() -> None:
    keys = {new_key() for _ in range(200)}
    assert len(keys) == 200
    assert {len(key) for key in keys} == {43}
