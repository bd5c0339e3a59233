"""What a page weighs on the wire, with all that it asks for, on a first visit."""

from collections.abc import Callable

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from equipment.models import User
from tests.browser.conftest import PageAt, SignIn, World

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
HOUSEHOLD_KB, ANY_KB = 60.0, 300.0


@pytest.fixture
def weighed(page_at: PageAt, sign_in: SignIn) -> Callable[[User, str], tuple[float, int]]:
    """Kilobytes over the wire and requests of a page that nothing is kept of."""

    def weigh(user: User, address: str) -> tuple[float, int]:
        page: Page = page_at(360)
        sign_in(page, user)
        wire = page.context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.send("Network.setCacheDisabled", {"cacheDisabled": True})
        sizes: list[float] = []
        wire.on("Network.loadingFinished", lambda told: sizes.append(told["encodedDataLength"]))
        page.goto(address)
        page.wait_for_load_state("networkidle")
        return sum(sizes) / 1000, len(sizes)

    return weigh


def test_a_households_page_is_light(world: World, weighed: Callable[[User, str], tuple[float, int]]) -> None:
    for address in (reverse("site", args=[world.home.pk]), reverse("filter", args=[world.hall.pk])):
        size, requests = weighed(world.homeowner_user, address)
        print(f"{address}: {size:.1f} kB in {requests} requests")
        assert size < HOUSEHOLD_KB


@pytest.mark.parametrize(
    "name", ["due-list", "visits", "rounds", "season", "to-buy", "figures", "findings", "people"]
)
def test_no_page_of_the_desk_is_heavy(
    world: World, weighed: Callable[[User, str], tuple[float, int]], name: str
) -> None:
    size, requests = weighed(world.manager_user, reverse(name))
    print(f"{name}: {size:.1f} kB in {requests} requests")
    assert size < ANY_KB


def test_a_technicians_day_is_light(world: World, weighed: Callable[[User, str], tuple[float, int]]) -> None:
    assert world.technician.user
    day = reverse("day", args=[world.technician.pk, world.today.isoformat()])
    size, requests = weighed(world.technician.user, day)
    print(f"{day}: {size:.1f} kB in {requests} requests")
    assert size < ANY_KB


# A slow telephone network: bytes a second each way, milliseconds there and back.
SLOW = {"offline": False, "downloadThroughput": 200_000, "uploadThroughput": 90_000, "latency": 150}
LARGEST = """() => new Promise((told) => {
  new PerformanceObserver((list) => told(list.getEntries().at(-1).startTime))
    .observe({ type: "largest-contentful-paint", buffered: true });
  setTimeout(() => told(0), 3000);
})"""
STAFF_PAGES = (
    "due-list", "look-up", "visits", "rounds", "season", "season-plans", "to-buy", "figures", "findings",
    "promises", "call-list", "outbox", "people", "tasks", "dust", "sheets", "hand-over",
)  # fmt: skip


@pytest.mark.long
def test_what_every_main_page_weighs_and_when_its_largest_part_is_there(
    world: World, page_at: PageAt, sign_in: SignIn
) -> None:
    """A first visit with nothing kept, over a slow network. Times are told, weights are held to."""
    assert world.technician.user
    home, day = reverse("site", args=[world.home.pk]), world.today.isoformat()
    of_technician = [
        reverse("day", args=[world.technician.pk, day]),
        reverse("van", args=[world.technician.pk, day]),
        reverse("what-fits", args=[world.attic.pk]),
        reverse("air-side", args=[world.attic.system_id]),
    ]
    asked = [(world.homeowner_user, home), (world.homeowner_user, reverse("filter", args=[world.hall.pk]))]
    asked += [(world.technician.user, address) for address in of_technician]
    asked += [(world.manager_user, reverse(name)) for name in STAFF_PAGES]
    print(f"\n{'page':32}{'kB':>7}{'requests':>10}{'largest paint, s':>18}")
    for user, address in asked:
        page = page_at(360)
        sign_in(page, user)
        wire = page.context.new_cdp_session(page)
        wire.send("Network.enable")
        wire.send("Network.setCacheDisabled", {"cacheDisabled": True})
        wire.send("Network.emulateNetworkConditions", SLOW)
        sizes: list[float] = []
        wire.on("Network.loadingFinished", lambda told, sizes=sizes: sizes.append(told["encodedDataLength"]))
        page.goto(address)
        page.wait_for_load_state("networkidle")
        paint = page.evaluate(LARGEST) / 1000
        size = sum(sizes) / 1000
        print(f"{address:32}{size:7.1f}{len(sizes):10d}{paint:18.2f}")
        assert size < (HOUSEHOLD_KB if user == world.homeowner_user else ANY_KB)
        page.context.close()
