"""Media of one size, and what the page of filters that will do says of one of them."""

from equipment.models import FilterSlot, Media
from schedules.what_fits import Candidate, candidates
from shared.units import M3S_PER_CFM, PA_PER_INWC
from tests.factories import NOW, MediaFactory, MediaPointFactory


def medium(name: str, merv: int, inwc: float, **more: object) -> Media:
    """A 16x25x1 whose label gives its clean drop at 800 cfm."""
    made: Media = MediaFactory(name=name, merv=merv, **more)
    MediaPointFactory(media=made, airflow_m3s=800 * M3S_PER_CFM, clean_drop_pa=inwc * PA_PER_INWC)
    return made


def found_of(slot: FilterSlot, name: str) -> Candidate:
    fresh = FilterSlot.objects.get(pk=slot.pk)
    return next(one for one in candidates(fresh, None, NOW) if one.media.name == name)
