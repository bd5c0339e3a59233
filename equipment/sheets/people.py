"""Whose mail, telephone and language a home's rows carry."""

from collections.abc import Iterable

from equipment.models import Person, SiteRole


def filter_changers(sites: Iterable[int]) -> dict[int, Person]:
    """Who changes the filters, by site; of several the one who came last. Others stand in no sheet."""
    roles = SiteRole.objects.filter(site__in=list(sites), role=SiteRole.Role.FILTER_CHANGER, until=None)
    return {role.site_id: role.person for role in roles.select_related("person").order_by("pk")}
