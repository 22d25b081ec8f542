"""Parquet and CSV files from plain columns.

The columns are laid out in memory as Apache Arrow asks. The shorter ways of pyarrow import pandas
whenever that is installed, which takes longer than all else about a file. Source: Apache Arrow
columnar format 1.5, "Fixed-size primitive layout" and "Variable-size binary layout".
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pyarrow as pa

Values = np.ndarray[Any, Any]

_EVERY = 7  # so many numbers are enough to see whether they repeat
_SEPARATORS = ',"\r\n'


@dataclass(frozen=True, slots=True, eq=False)
class FileColumns:
    """What goes into a file.

    Parameters
    ----------
    numbers : columns of numbers and of UTC times, by name; NaN is not known.
    texts : columns of texts.
    binary : columns of bytes; None is not known.
    order : all names in order.
    about : what is said of the whole file, by key.
    """

    numbers: Mapping[str, Values]
    texts: Mapping[str, Sequence[str]]
    order: tuple[str, ...]
    binary: Mapping[str, Sequence[bytes | None]] = field(default_factory=dict)
    about: Mapping[str, str] = field(default_factory=dict)


def write_parquet(data: FileColumns, path: Path) -> None:
    """Write a Parquet file.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    import pyarrow.parquet as pq  # slow to load

    # Measured numbers hardly repeat: a dictionary of them costs time and makes the file larger,
    # and to compress them takes time for nothing. Times go on in even steps.
    times = [name for name, values in data.numbers.items() if values.dtype.kind == "M"]
    digits = [name for name, values in data.numbers.items() if _is_measured(values)]
    pq.write_table(
        _table(data),
        path,
        use_dictionary=[name for name in data.order if _repeats(data, name)],
        compression={name: "none" if name in digits else "snappy" for name in data.order},
        column_encoding=dict.fromkeys(times, "DELTA_BINARY_PACKED") or None,
    )


def write_csv(data: FileColumns, path: Path) -> None:
    """Write a CSV file: a heading and the rows; what is not known is empty.

    Numbers are such that reading them back gives the same ones. Texts are in quotes if one of them
    needs to be; names of columns are plain words.

    Raises
    ------
    OSError
        If it cannot be written.
    """
    import pyarrow.csv  # slow to load

    texts = "".join(itertools.chain(*data.texts.values()))
    style = "needed" if any(sign in texts for sign in _SEPARATORS) else "none"
    options = pyarrow.csv.WriteOptions(include_header=False, quoting_style=style)
    with path.open("wb") as file:
        file.write(f"{','.join(data.order)}\n".encode())
        pyarrow.csv.write_csv(_table(data), file, options)


def _table(data: FileColumns) -> pa.Table:
    import pyarrow as pa

    columns = {name: _fixed_size(values) for name, values in data.numbers.items()}
    for name, texts in data.texts.items():
        encoded = [text.encode("utf-8") for text in texts]
        columns[name] = _variable_size(encoded, pa.large_string(), np.int64)
    for name, parts in data.binary.items():
        columns[name] = _variable_size(parts, pa.binary(), np.int32)
    table = pa.table({name: columns[name] for name in data.order})
    return table.replace_schema_metadata(dict(data.about) or None)


def _repeats(data: FileColumns, name: str) -> bool:
    return name in data.texts or (name in data.numbers and data.numbers[name].dtype.kind in "iu")


def _is_measured(values: Values) -> bool:
    """Whether most numbers differ from the one before."""
    one, next_one = values[:-1:_EVERY], values[1::_EVERY]
    changes = int(np.count_nonzero(one != next_one))
    return values.dtype.kind == "f" and 2 * changes > len(one)


def _fixed_size(values: Values) -> pa.Array:
    import pyarrow as pa

    of = (
        pa.timestamp("ns", "UTC") if values.dtype.kind == "M" else pa.from_numpy_dtype(values.dtype)
    )
    known = ~np.isnan(values) if values.dtype.kind == "f" else np.ones(len(values), dtype=bool)
    held = pa.py_buffer(np.ascontiguousarray(values))
    return pa.Array.from_buffers(of, len(values), [_validity(known), held])


def _variable_size(
    values: Sequence[bytes | None], of: pa.DataType, offset: type[np.signedinteger[Any]]
) -> pa.Array:
    import pyarrow as pa

    parts = [value or b"" for value in values]
    offsets = np.cumsum([0, *map(len, parts)], dtype=offset)
    known = np.array([value is not None for value in values], dtype=bool)
    held = [_validity(known), pa.py_buffer(offsets), pa.py_buffer(b"".join(parts))]
    return pa.Array.from_buffers(of, len(values), held)


def _validity(known: Values) -> pa.Buffer | None:
    """A bit for each value, the first in the lowest place; none where all are known."""
    import pyarrow as pa

    return None if known.all() else pa.py_buffer(np.packbits(known, bitorder="little"))
