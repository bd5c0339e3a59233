"""Spells of unusual dust closed, and what they change."""

from datetime import datetime

from equipment.dust import end_episode, withdraw_episode
from equipment.models import DustEpisode, FilterSlot, User
from schedules import due


def close_episode(episode: DustEpisode, user: User, now: datetime, *, mistake: bool) -> None:
    """It is over from today on, or it was a mistake; nothing is deleted. A home's dates are reckoned at
    once."""
    if mistake:
        withdraw_episode(episode, user, now)
    else:
        end_episode(episode, user, now)
    if episode.site_id is not None:
        due.replan(now, FilterSlot.objects.filter(system__site=episode.site_id))
