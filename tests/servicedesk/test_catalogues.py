"""The Spanish catalogues: whole for households, empty for the desk's own people, compiled as written."""

import gettext

import pytest

from tests.servicedesk.catalogue import ROOMS, Entry, entries, every_entry, path_of, places

HOUSEHOLD = [entry for entry in every_entry() if entry.for_households]


def test_there_are_texts_for_households() -> None:
    assert len(HOUSEHOLD) > 300
    assert {entry.room for entry in HOUSEHOLD} == set(ROOMS)


@pytest.mark.parametrize("entry", HOUSEHOLD, ids=lambda entry: entry.key[:60])
def test_what_a_household_reads_is_translated_with_its_places(entry: Entry) -> None:
    assert all(entry.answers)
    assert "fuzzy" not in entry.marks
    # The first form answers the singular, the others the plural.
    for asked, said in zip([entry.asked[0]] + [entry.asked[-1]] * 2, entry.answers, strict=False):
        assert places(said) == places(asked)


@pytest.mark.parametrize("room", ROOMS)
def test_nothing_else_is_translated_by_halves(room: str) -> None:
    others = [entry for entry in entries(room) if not entry.for_households]
    assert not [entry.key for entry in others if any(entry.answers) or "fuzzy" in entry.marks]


@pytest.mark.parametrize("room", ROOMS)
def test_the_compiled_catalogue_is_the_written_one(room: str) -> None:
    with path_of(room, "mo").open("rb") as file:
        compiled = gettext.GNUTranslations(file)
    found = {key: said for key, said in vars(compiled)["_catalog"].items() if key}
    written: dict[object, str] = {}
    for entry in entries(room):
        if not all(entry.answers):
            continue
        plural = "msgid_plural" in entry.said
        written |= (
            {(entry.key, number): said for number, said in enumerate(entry.answers)}
            if plural
            else {entry.key: entry.answers[0]}
        )
    assert found == written


def test_one_text_is_said_alike_in_every_room() -> None:
    said: dict[str, set[tuple[str, ...]]] = {}
    for entry in HOUSEHOLD:
        said.setdefault(entry.key, set()).add(tuple(entry.answers))
    assert not {key: several for key, several in said.items() if len(several) > 1}
