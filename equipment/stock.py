"""How many of each filter the desk owns, in the store and in its vans together."""

from collections import Counter
from collections.abc import Iterable

from django.db.models import F

from equipment.models import Media


def take_out(media: Iterable[int]) -> None:
    """Filters that went in at a home, each by its medium's key; where nobody counts the stock nothing is
    subtracted, nor of what is washed and put back. Less than nothing says that the count was wrong."""
    counted = Media.objects.exclude(kind=Media.Kind.WASHABLE).filter(on_hand__isnull=False)
    for pk, count in Counter(media).items():
        counted.filter(pk=pk).update(on_hand=F("on_hand") - count)


def put_in(media: int, count: int) -> None:
    """Filters that arrived; a stock that nobody counted begins with them."""
    Media.objects.filter(pk=media, on_hand__isnull=False).update(on_hand=F("on_hand") + count)
    Media.objects.filter(pk=media, on_hand=None).update(on_hand=count)
