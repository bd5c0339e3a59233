"""Unusual dust: the desk's page for whole places, and the closing of an episode."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from equipment.access import signed_in
from equipment.dust import record_episode, sites_of
from equipment.models import DustEpisode
from equipment.record import NotRecordable
from schedules import due
from schedules.dust_changes import close_episode
from schedules.dust_forms import PlaceEpisodeForm
from schedules.dust_words import say_span, say_times

SHOWN_FOR = timedelta(days=365)
MOST_SHOWN = 200


@dataclass(frozen=True)
class EpisodeLine:
    """An episode as pages show it; ``open`` while days of it are still to come."""

    episode: DustEpisode
    span: str
    times: str
    open: bool


def lines(episodes: list[DustEpisode], today: date) -> list[EpisodeLine]:
    """Episodes for a page, those without a day that counts said to have none."""
    return [
        EpisodeLine(row, _span(row, today), say_times(row.factor), row.last_counted >= today)
        for row in episodes
    ]


def page(request: HttpRequest) -> HttpResponse:
    """What is on record of the last year and to come; write a place's dust down."""
    now = timezone.now()
    form = PlaceEpisodeForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            episode = record_episode(form.what(), form.where(), signed_in(request), now)
        except NotRecordable as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, _reckoned_again(episode))
            return redirect("dust")
    today = due.today(now)
    rows = DustEpisode.objects.filter(withdrawn_at=None, last_day__gte=today - SHOWN_FOR)
    shown = lines(list(rows.select_related("site", "station")[:MOST_SHOWN]), today)
    context = {"form": form, "lines": shown, "title": _title(shown, today)}
    status = 422 if form.is_bound and form.errors else 200
    return render(request, "schedules/dust.html", context, status=status)


def close(request: HttpRequest, pk: int) -> HttpResponse:
    """It is over from today on, or it was a mistake; nothing is deleted."""
    episode, now = get_object_or_404(DustEpisode, pk=pk), timezone.now()
    close_episode(episode, signed_in(request), now, mistake=request.POST.get("what") == "mistake")
    messages.success(request, _reckoned_again(episode))
    if request.POST.get("back") == "site" and episode.site_id is not None:
        return redirect("site", episode.site_id)
    return redirect("dust")


def _reckoned_again(episode: DustEpisode) -> str:
    homes = len(sites_of(episode))
    return ngettext(
        "Written down; the dates of %(n)d home are reckoned again.",
        "Written down; the dates of %(n)d homes are reckoned again.",
        homes,
    ) % {"n": homes}


def _span(episode: DustEpisode, today: date) -> str:
    if episode.last_counted < episode.first_day:
        return _("called off")
    return say_span(episode.first_day, episode.last_counted, today.year)


def _title(shown: list[EpisodeLine], today: date) -> str:
    running = sum(line.open and line.episode.first_day <= today for line in shown)
    if not running:
        return _("No unusual dust is on record for today")
    return ngettext(
        "%(n)d spell of unusual dust counts today", "%(n)d spells of unusual dust count today", running
    ) % {"n": running}
