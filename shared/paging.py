"""Pages of long lists for programs: so many rows from a place on, and how many there are."""

from collections.abc import Sequence
from typing import Annotated, Any, Generic, TypeVar

from django.db.models import QuerySet
from ninja import Query, Schema

MOST, USUAL, FURTHEST = 500, 100, 10_000_000
Row = TypeVar("Row")


class Window(Schema):
    """``limit`` rows from the ``offset``-th on."""

    limit: Annotated[int, Query(ge=1, le=MOST)] = USUAL
    offset: Annotated[int, Query(ge=0, le=FURTHEST)] = 0


Paged = Annotated[Window, Query()]


class Page(Schema, Generic[Row]):
    """The rows of a page, and how many all pages hold."""

    count: int
    rows: list[Row]


def page_of(rows: QuerySet[Any] | Sequence[Any], window: Window) -> dict[str, Any]:
    """The page of an ordered list; two queries where it is one of the database."""
    count = rows.count() if isinstance(rows, QuerySet) else len(rows)
    return {"count": count, "rows": list(rows[window.offset : window.offset + window.limit])}
