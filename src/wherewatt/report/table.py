"""A table as plain columns: what the files and the page need of one, without a library of frames.

That library takes as long to load as a ride takes to analyse.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from wherewatt.columns import Column, as_declared
from wherewatt.report.column_files import FileColumns, Values

if TYPE_CHECKING:
    import pandas as pd

_TIME = "datetime64[ns, UTC]"
_HELD_AS = {"int64": "int64", "float64": "float64", "str": "object", _TIME: "datetime64[ns]"}


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Columns of declared names and types, all of one length.

    Parameters
    ----------
    columns : what is declared of them, in order.
    values : (k,) values by name; times are UTC.
    """

    columns: tuple[Column, ...]
    values: Mapping[str, Values]

    @classmethod
    def of(cls, columns: tuple[Column, ...], values: Mapping[str, Sequence[Any] | Values]) -> Table:
        """The declared columns of what is given, as the declared types.

        Raises
        ------
        KeyError
            If a column is missing.
        """
        return cls(
            columns,
            {
                column.name: np.asarray(values[column.name], dtype=_HELD_AS[column.dtype])
                for column in columns
            },
        )

    def __len__(self) -> int:
        return len(self.values[self.columns[0].name])

    def __getitem__(self, name: str) -> Values:
        return self.values[name]

    def rows(self) -> Iterator[dict[str, Any]]:
        """Rows of plain values; times are text, ISO 8601 with a Z, and what is not known is NaN."""
        names = [column.name for column in self.columns]
        for row in zip(*self._plain(), strict=True):
            yield dict(zip(names, row, strict=True))

    def for_csv(self) -> FileColumns:
        """The table as columns of a CSV file, in which times are text."""
        data, times = self.for_parquet(), self._iso_times()
        numbers = {name: values for name, values in data.numbers.items() if name not in times}
        return FileColumns(numbers, {**data.texts, **times}, data.order)

    def for_parquet(self) -> FileColumns:
        """The table as columns of a Parquet file."""
        texts = {name for name, values in self.values.items() if values.dtype.kind == "O"}
        return FileColumns(
            numbers={name: self[name] for name in self.values if name not in texts},
            texts={name: self[name].tolist() for name in self.values if name in texts},
            order=tuple(self.values),
        )

    def to_frame(self) -> pd.DataFrame:
        """The table as a frame."""
        import pandas as pd  # slow to load, and no file needs it

        return as_declared(
            pd.DataFrame(
                {
                    column.name: pd.DatetimeIndex(self[column.name], tz="UTC")
                    if column.dtype == _TIME
                    else self[column.name]
                    for column in self.columns
                }
            ),
            self.columns,
        )

    def _plain(self) -> list[list[Any]]:
        """The columns as plain values, times as text."""
        texts = self._iso_times()
        return [texts.get(name) or self[name].tolist() for name in self.values]

    def _iso_times(self) -> dict[str, list[str]]:
        """Columns of times as text, all to the coarsest unit that loses nothing."""
        names = [column.name for column in self.columns if column.dtype == _TIME]
        if not names:
            return {}
        unit = _coarsest_unit(np.concatenate([self[name] for name in names]))
        return {
            name: [f"{text}Z" for text in np.datetime_as_string(self[name], unit=unit)]
            for name in names
        }


def _coarsest_unit(instants: Values) -> Literal["s", "ms", "us", "ns"]:
    units: tuple[Literal["s", "ms", "us"], ...] = ("s", "ms", "us")
    for unit in units:
        if (instants == instants.astype(f"M8[{unit}]")).all():
            return unit
    return "ns"
