"""What a key may look like."""

import secrets

import pytest

from shared.keys import key_of, new_key, typed_key_of


def test_no_key_begins_like_an_option(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = iter(["-of_a_command", "--withdraw", "8ness"])
    monkeypatch.setattr(secrets, "token_urlsafe", lambda size: next(drawn))
    assert new_key() == "8ness"


def test_keys_are_long_and_none_like_the_other() -> None:
    keys = {new_key() for _ in range(200)}
    assert len(keys) == 200
    assert {len(key) for key in keys} == {43}


def test_no_key_of_a_seed_that_people_type_begins_like_an_option() -> None:
    seeds = [str(number) for number in range(500)]
    dashed = [seed for seed in seeds if key_of("desk.test", seed).startswith("-")]
    assert dashed
    assert not any(typed_key_of("desk.test", seed).startswith("-") for seed in seeds)
    assert all(
        typed_key_of("desk.test", seed) == key_of("desk.test", seed) for seed in set(seeds) - set(dashed)
    )
