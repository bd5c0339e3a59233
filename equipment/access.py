"""Which homes a user sees."""

from django.db.models import QuerySet
from django.http import Http404, HttpRequest

from equipment.models import Desk, FilterSlot, Person, Site, SiteRole, User


def visible_sites(user: User) -> QuerySet[Site]:
    """All sites for staff; for a homeowner those where they have a role that has not ended."""
    if not user.is_homeowner:
        return Site.objects.all()
    if user.person_id is None:
        return Site.objects.none()
    return Site.objects.filter(roles__person=user.person_id, roles__until=None).distinct()


def site_or_404(user: User, pk: int) -> Site:
    """The site if ``user`` sees it; a home of somebody else is as good as not there."""
    site = visible_sites(user).select_related("customer", "station").filter(pk=pk).first()
    if site is None:
        raise Http404
    return site


def slot_or_404(user: User, pk: int) -> FilterSlot:
    """The slot if ``user`` sees its site."""
    slot = (
        FilterSlot.objects.filter(pk=pk, system__site__in=visible_sites(user))
        .select_related("system__site__customer", "system__site__station", "first_media", "plan")
        .first()
    )
    if slot is None:
        raise Http404
    return slot


def units_of(user: object) -> str:
    """The units that ``user`` reads: their own choice, else the desk's."""
    return (user.units if isinstance(user, User) else "") or Desk.the().units


def units_of_person(person: Person | None) -> str:
    """The units that somebody reads in letters: the choice made with their account, else the desk's."""
    chosen = User.objects.filter(person=person).exclude(units="").values_list("units", flat=True).first()
    return (chosen if person else None) or Desk.the().units


def units_at(site: Site) -> str:
    """The units of whoever changes the filters at ``site``, else the desk's."""
    role = site.roles.filter(role=SiteRole.Role.FILTER_CHANGER, until=None).select_related("person").first()
    return units_of_person(role.person if role else None)


def signed_in(request: HttpRequest) -> User:
    """The account behind a request that the gate let through."""
    if not isinstance(request.user, User):
        raise Http404
    return request.user
