"""A page, letter or calendar is wholly in one language: its dates, units and figures follow its words."""

import html
import re
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from functools import cache
from typing import Any

import pytest
import time_machine
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import translation
from icalendar import Calendar

from equipment.models import FilterSlot, Person, Site, SiteRole, System, User
from equipment.models.media import Media
from schedules import due, emails, feeds, reminders
from schedules.calendar_events import Owner
from schedules.emails import Letter, answer_url, stop_url
from schedules.models import Notice, Plan, Visit
from shared import signing
from shared.signing import Purpose
from tests.calendars import body
from tests.factories import (
    NOW,
    TODAY,
    DeskFactory,
    DustEpisodeFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    MaintenanceTaskFactory,
    MeanwhileFactory,
    MediaFactory,
    MediaPointFactory,
    NoticeFactory,
    OfferedTimeFactory,
    PersonFactory,
    PlanFactory,
    ReadingFactory,
    TechnicianFactory,
    VisitFactory,
    VisitJobFactory,
)
from tests.servicedesk.catalogue import every_entry

pytestmark = [pytest.mark.django_db, pytest.mark.once]
SPANISH = {"HTTP_ACCEPT_LANGUAGE": "es-ES,es;q=0.9"}
ENGLISH = {"HTTP_ACCEPT_LANGUAGE": "en-US,en;q=0.9"}
# Words of Django's own that Spanish writes alike.
ALIKE = {"may", "jun", "jul", "sep", "oct", "nov", ":"}
# Said within for every reader, and shown to the desk's own people alone.
UNSEEN = {
    "as designed", "%(n)s change", "%(n)s changes", "One of these jobs is already part of an open visit.",
}  # fmt: skip
TEN = datetime(2026, 5, 20, 15, 10, tzinfo=UTC)


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture(autouse=True)
def asked_in_vain(monkeypatch: pytest.MonkeyPatch) -> set[str]:
    """What Spanish text was asked for and came back in English, in this test."""
    asked: set[str] = set()
    real = translation._trans  # type: ignore[attr-defined]

    def spy(name: str, last: int) -> Callable[..., str]:
        say: Callable[..., str] = getattr(real, name)

        def said(*words: Any) -> str:
            answer = say(*words)
            untold = answer in {str(word) for word in words[:last]}
            if untold and translation.get_language() == "es" and answer not in ALIKE | UNSEEN:
                asked.add(answer)
            return answer

        return said

    for name, last in (("gettext", 1), ("ngettext", 2), ("pgettext", 2), ("npgettext", 3)):
        monkeypatch.setattr(real, name, spy(name, last))
    return asked


@pytest.fixture
def media(home_slot: FilterSlot) -> Media:
    pleat: Media = MediaFactory(name="Pleat 8", actual_short_m=0.39, actual_long_m=0.62, actual_depth_m=0.02)
    for flow, drop in ((0.2, 20.0), (0.4, 45.0)):
        MediaPointFactory(media=pleat, airflow_m3s=flow, clean_drop_pa=drop)
    FilterSlot.objects.update(first_media=pleat, fitted_on=date(2026, 1, 5), location="Pasillo")
    System.objects.update(design_airflow_m3s=0.4, kind="conventional", blower="constant_airflow")
    return pleat


@pytest.fixture
def spanish_home(home_slot: FilterSlot, homeowner_person: Person, media: Media) -> Plan:
    """A household whose language on record is Spanish, with something of everything that it can read."""
    DeskFactory(name="Olmo", phone="555 0100", timezone="America/Chicago")
    Person.objects.update(language="es-MX")
    SiteRole.objects.create(site=home_slot.system.site, person=homeowner_person, role=SiteRole.Role.OWNER)
    FilterChangeFactory(slot=home_slot, told="occupant", media=media, recorded_at=NOW)
    FilterChangeFactory(
        slot=home_slot, changed_on=date(2026, 2, 1), changed_at=datetime(2026, 2, 2, tzinfo=UTC)
    )
    ReadingFactory(slot=home_slot, airflow_m3s=0.35)
    DustEpisodeFactory(site=home_slot.system.site, factor=0.5)
    MaintenanceTaskFactory(system=home_slot.system, name="Limpieza", due_on=date(2026, 9, 1))
    other = FilterSlotFactory(name="home-attic", system=home_slot.system, changed_by="technician")
    MeanwhileFactory(slot=other, media=media, usual=MediaFactory(name="Pleat 11", merv=11))
    due.replan(NOW, FilterSlot.objects.all())
    Plan.objects.filter(slot=home_slot).update(
        due_on=date(2026, 5, 16), reason=Plan.Reason.RISK, run_hours=1234,
        p10_on=date(2026, 5, 10), p50_on=date(2026, 6, 1), p90_on=date(2026, 7, 1),
    )  # fmt: skip
    reminders.write_due(NOW)
    return Plan.objects.get(slot=home_slot)


@pytest.fixture
def visit(spanish_home: Plan) -> Visit:
    made: Visit = VisitFactory(
        site=spanish_home.slot.system.site, technician=TechnicianFactory(name="Gwen"), day=date(2026, 5, 20),
        state=Visit.State.SCHEDULED, arrive_at=TEN, leave_at=TEN + timedelta(minutes=30),
    )  # fmt: skip
    VisitJobFactory(visit=made, slot=spanish_home.slot, task=None)
    return made


@pytest.fixture
def waiting(spanish_home: Plan) -> Visit:
    made: Visit = VisitFactory(site=spanish_home.slot.system.site)
    VisitJobFactory(visit=made, slot=spanish_home.slot)
    Site.objects.update(latitude=41.9, longitude=-87.8)
    OfferedTimeFactory(visit=made, technician__start_latitude=41.88, technician__start_longitude=-87.75)
    return made


def words_of(page: str) -> str:
    """What is read of a page: without its marks, spaces drawn together."""
    return " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())


@cache
def english() -> dict[str, list[str]]:
    """The English texts for households, with their pieces of four words or more, where they have such."""
    told = {}
    for entry in every_entry():
        pieces = re.split(r"%\(\w+\)[sd]", entry.said["msgid"].replace("%%", "%"))
        pieces = [piece.strip() for piece in pieces if len(piece.split()) > 3]
        if entry.for_households and pieces:
            told[entry.said["msgid"]] = pieces
    return told


def english_in(text: str) -> list[str]:
    return [told for told, pieces in english().items() if all(piece in text for piece in pieces)]


def is_spanish(text: str, language_of_page: bool = True) -> None:
    assert not language_of_page or '<html lang="es">' in text
    assert not english_in(words_of(text))
    assert not re.search(r"\b(January|April|May|June|July|August)\b", text)


def notice_of(kind: Notice.Kind, visit: Visit | None = None) -> Notice:
    person = Person.objects.get(name="Robin Reed")
    site = Site.objects.get(name="home")
    made: Notice = NoticeFactory(kind=kind, person=person, site=site, visit=visit, sent_to=person.email)
    return made


def filters_due() -> Notice:
    """The letter that the desk writes of itself."""
    return Notice.objects.get(kind=Notice.Kind.FILTERS_DUE)


def read(notice: Notice) -> Letter:
    letter = emails.letter_for(notice, NOW)
    assert '<html lang="es">' in letter.html
    for text in (letter.subject, letter.text, letter.html):
        is_spanish(text, language_of_page=False)
    return letter


def test_the_languages_offered() -> None:
    assert [code for code, _name in settings.LANGUAGES] == ["en", "es"]


@pytest.mark.parametrize("kind", [Notice.Kind.FILTERS_DUE, Notice.Kind.FOLLOW_UP])
def test_a_letter_about_filters(spanish_home: Plan, kind: Notice.Kind, asked_in_vain: set[str]) -> None:
    notice = filters_due()
    notice.kind = kind
    letter = read(notice)
    assert "a más tardar el 16 de mayo" in letter.subject
    assert "unas 1,234 horas" in letter.text
    assert "pulg. c.a." in letter.text
    assert "16 × 25 × 1 pulg." in letter.text
    assert not asked_in_vain


def test_a_letter_about_a_visit(visit: Visit, asked_in_vain: set[str]) -> None:
    notice = notice_of(Notice.Kind.VISIT, visit)
    letter = read(notice)
    assert letter.subject == "Vamos a su casa el 20 de mayo de 2026 entre las 09:00 y las 11:00"
    assert "SUMMARY:Visita de Olmo" in letter.calendar.decode()
    Visit.objects.update(state=Visit.State.CANCELLED)
    assert read(Notice.objects.get(pk=notice.pk)).subject.startswith("Cancelada")
    assert not asked_in_vain


def test_a_letter_that_offers_times_and_one_to_sign_in(
    waiting: Visit, homeowner_user: User, asked_in_vain: set[str]
) -> None:
    letter = read(notice_of(Notice.Kind.TIMES, waiting))
    assert "miércoles 20 de mayo de 2026, entre las 08:00 y las 12:00" in letter.text
    assert read(notice_of(Notice.Kind.SIGN_IN)).subject == "Su enlace para iniciar sesión"
    assert not asked_in_vain


@pytest.mark.parametrize("asks", [SPANISH, ENGLISH])
def test_a_households_own_pages(
    homeowner: Client, visit: Visit, spanish_home: Plan, asks: dict[str, str], asked_in_vain: set[str]
) -> None:
    site, slot = visit.site_id, spanish_home.slot_id
    homeowner.post(reverse("feed-new", args=[site]))
    other = FilterSlot.objects.get(name="home-attic").pk
    for address in (
        *(reverse(name, args=[site]) for name in ("site", "card")),
        *(reverse(name, args=[pk]) for name in ("filter", "what-fits") for pk in (slot, other)),
    ):
        is_spanish(homeowner.get(address, **asks).text)
    text = homeowner.get(reverse("site", args=[site]), **asks).text
    assert "16 de mayo de 2026" in text
    refused = homeowner.post(reverse("filter-change", args=[slot]), {"on": "2027-01-01"}, **asks)
    assert "Ese día todavía no ha llegado." in refused.text
    assert "Este campo es obligatorio" in homeowner.post(reverse("filter-change", args=[slot]), **asks).text
    assert not asked_in_vain


def test_a_card_is_spanish(homeowner: Client, spanish_home: Plan, asked_in_vain: set[str]) -> None:
    text = homeowner.get(reverse("card", args=[spanish_home.slot.system.site_id]), **ENGLISH).text
    is_spanish(text)
    assert "Los filtros de aire de esta casa" in text
    assert "16 de mayo de 2026" in text
    assert "medidas reales" in text
    assert not asked_in_vain


def test_pages_behind_links_speak_as_the_letter_did(
    stranger: Client, waiting: Visit, spanish_home: Plan, asked_in_vain: set[str]
) -> None:
    person, notice = Person.objects.get(name="Robin Reed"), filters_due()
    times = reverse("times", args=[signing.make(Purpose.TIMES, str(waiting.pk))])
    card = reverse("answer", args=[signing.make(Purpose.ANSWER, f"site:{waiting.site_id}")])
    links = [
        link.removeprefix(settings.SITE_URL) for link in (answer_url(notice), stop_url(person, "filters"))
    ]
    for address in (*links, times, card):
        is_spanish(stranger.get(address, **ENGLISH).text)
    told = stranger.post(card, {"what": "changed"}, **ENGLISH).text
    assert "Marque los filtros que cambió." in told
    is_spanish(told)
    slot = spanish_home.slot_id
    done = {"what": "changed", f"slot{slot}-done": "1", f"slot{slot}-on": TODAY.isoformat()}
    for said in (done, {"what": "undo", "change": "0"}, {"what": "send"}):
        is_spanish(stranger.post(card, said, follow=True, **ENGLISH).text)
    chosen = stranger.post(times, {"time": waiting.offered_times.get().pk}, **ENGLISH).text
    is_spanish(chosen)
    is_spanish(stranger.post(times, {"what": "none"}, follow=True, **ENGLISH).text)
    is_spanish(stranger.post(links[1], follow=True, **ENGLISH).text)
    assert not asked_in_vain


def test_a_calendar_speaks_the_households_language(
    stranger: Client, visit: Visit, asked_in_vain: set[str]
) -> None:
    address = reverse("feed", args=[feeds.feed_of(Owner(site=visit.site)).secret])
    text = stranger.get(address, **ENGLISH).text
    said = [str(event["SUMMARY"]) for event in Calendar.from_ical(text).walk("VEVENT")]
    assert sorted(said)[0].startswith("Cambiar el filtro de aire: 16 × 25 × 1 pulg.")
    assert "Visita de Olmo" in said
    is_spanish(text.replace("\r\n ", ""), language_of_page=False)
    assert not asked_in_vain


def test_a_stranger_reads_what_the_browser_asks_for(stranger: Client, asked_in_vain: set[str]) -> None:
    for address in ("/sign-in/", "/sign-in/link/", "/answer/nonsense/", "/nowhere/", "/stop/nonsense/"):
        is_spanish(stranger.get(address, **SPANISH).text)
        assert '<html lang="en">' in stranger.get(address, **ENGLISH).text
    assert not asked_in_vain


def test_what_refuses_a_household_speaks_its_language(
    homeowner: Client, spanish_home: Plan, monkeypatch: pytest.MonkeyPatch, asked_in_vain: set[str]
) -> None:
    for address in (reverse("due-list"), "/nowhere/", reverse("filter", args=[0])):
        refused = homeowner.get(address, **ENGLISH)
        assert refused.status_code in (403, 404)
        is_spanish(refused.text)
    homeowner.handler.enforce_csrf_checks = True
    is_spanish(homeowner.post(reverse("sign-out"), **ENGLISH).text)
    monkeypatch.setattr(emails, "next_media", None)
    homeowner.raise_request_exception = False
    broken = homeowner.get(reverse("site", args=[spanish_home.slot.system.site_id]), **ENGLISH)
    assert broken.status_code == 500
    is_spanish(broken.text)
    assert not asked_in_vain


def test_a_link_to_sign_in_speaks_as_its_letter_did(
    stranger: Client, spanish_home: Plan, homeowner_user: User, manager_user: User, asked_in_vain: set[str]
) -> None:
    is_spanish(stranger.post("/sign-in/", {"email": "x@home.example"}, **SPANISH).text)
    link = emails.sign_in_url(homeowner_user).removeprefix(settings.SITE_URL)
    is_spanish(stranger.get(link, **ENGLISH).text)
    link = emails.sign_in_url(manager_user).removeprefix(settings.SITE_URL)
    assert '<html lang="en">' in stranger.get(link, **SPANISH).text
    assert not asked_in_vain


def test_an_english_household_reads_english_whatever_the_browser_asks_for(
    homeowner: Client, home_slot: FilterSlot
) -> None:
    PlanFactory(slot=home_slot, due_on=date(2026, 5, 16))
    text = homeowner.get(reverse("site", args=[home_slot.system.site_id]), **SPANISH).text
    assert '<html lang="en">' in text
    assert "16 May 2026" in text


def test_the_desks_own_people_read_english_even_of_a_spanish_household(
    manager: Client, technician: Client, visit: Visit, spanish_home: Plan
) -> None:
    site, slot = visit.site_id, spanish_home.slot_id
    answer = answer_url(filters_due()).removeprefix(settings.SITE_URL)
    for client, address in (
        (manager, reverse("due-list")),
        (manager, reverse("site", args=[site])),
        (manager, answer),
        (technician, reverse("filter", args=[slot])),
        (technician, reverse("what-fits", args=[slot])),
        (technician, reverse("visit", args=[visit.pk])),
    ):
        text = client.get(address, **SPANISH).text
        assert '<html lang="en">' in text
        assert not re.search(r"\b(mayo|filtro|pulg)\b", text)


def test_a_letter_to_the_household_of_no_known_language_is_english(spanish_home: Plan) -> None:
    Person.objects.update(language="fr")
    letter = emails.letter_for(filters_due(), NOW)
    assert '<html lang="en">' in letter.html
    assert "16 May" in letter.subject


def test_a_home_without_filter_changer_is_spoken_to_as_whoever_is_named(spanish_home: Plan) -> None:
    site = spanish_home.slot.system.site
    SiteRole.objects.filter(site=site).delete()
    assert body(site, NOW)
    SiteRole.objects.create(site=site, person=PersonFactory(language="es"), role=SiteRole.Role.BILL_PAYER)
    text = body(site, NOW).decode()
    assert "Filtros en" in text
