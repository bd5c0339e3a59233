"""The arrays that planning computes with, and tables of them."""

from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

FloatArray = npt.NDArray[np.float64]
SingleArray = npt.NDArray[np.float32]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

_Table = TypeVar("_Table", bound="DataclassInstance")


def columns_of(table: "DataclassInstance") -> dict[str, Any]:
    """The arrays among the fields of ``table``, by name."""
    return {name: part for name, part in vars(table).items() if isinstance(part, np.ndarray)}


def rows_of(table: _Table, rows: IntArray, **other: Any) -> _Table:
    """``table`` with some of its rows, its other fields as they are but for ``other``."""
    return replace(table, **{name: part[rows] for name, part in columns_of(table).items()}, **other)
