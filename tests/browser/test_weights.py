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
