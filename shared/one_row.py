"""Tables of one row that nearly everything asks: read once a request."""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from copy import copy
from typing import Any, Self

from django.db import models

_held: ContextVar[dict[type[models.Model], models.Model] | None] = ContextVar("held", default=None)


@contextmanager
def held() -> Iterator[None]:
    """Read each row but once for as long, unless it is written meanwhile; what others write shows after."""
    token = _held.set({})
    try:
        yield
    finally:
        _held.reset(token)


class _OneRows(models.QuerySet[Any]):
    def update(self, **values: Any) -> int:
        """As ever; and the row is read anew."""
        _forget(self.model)
        return super().update(**values)


def _forget(model: type[models.Model]) -> None:
    rows = _held.get()
    if rows is not None:
        rows.pop(model, None)


class OneRow(models.Model):
    """A table whose one row has key 1."""

    objects = _OneRows.as_manager()

    class Meta:
        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        """As ever; and the row is read anew."""
        _forget(type(self))
        super().save(*args, **kwargs)
        _forget(type(self))

    @classmethod
    def the(cls) -> Self:
        """The row, made with defaults when first asked for; each caller has one of its own to change."""
        rows = _held.get()
        if rows is None:
            return cls._read()
        if cls not in rows:
            rows[cls] = cls._read()
        row: Self = copy(rows[cls])  # type: ignore[assignment]
        return row

    @classmethod
    def _read(cls) -> Self:
        row: Self = cls.objects.get_or_create(pk=1)[0]
        return row
