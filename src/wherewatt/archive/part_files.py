"""The Parquet files of a part: made here, whole, before they are put in place."""

from __future__ import annotations

import io
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from wherewatt.archive.columns import SCHEMAS
from wherewatt.archive.holdings import Place
from wherewatt.archive.rows import Rows
from wherewatt.archive.store import Store

# Rows are kept in memory until a row group has this many: enough for readers to be fast.
_GROUP_ROWS = 1 << 17


class PartFiles:
    """Files of one part, in a folder of this machine; rides are added in the order of their paths.

    Parameters
    ----------
    folder : where they are made.
    """

    def __init__(self, folder: Path) -> None:
        self._stack = ExitStack()
        self._paths = {name: folder / f"{name}.parquet" for name in SCHEMAS}
        self._writers = {
            name: self._stack.enter_context(_writer(path, SCHEMAS[name]))
            for name, path in self._paths.items()
        }
        self._waiting: dict[str, list[pa.Table]] = {name: [] for name in SCHEMAS}

    def __enter__(self) -> PartFiles:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stack.close()

    def add(self, rows: Rows) -> None:
        """Add the rows of a ride."""
        for name, table in rows.items():
            waiting = self._waiting[name]
            if len(table):  # an empty one would leave a trace: a row group without rows
                waiting.append(table)
            if sum(map(len, waiting)) >= _GROUP_ROWS:
                self._write(name)

    def put(self, out: Store, place: Place) -> None:
        """End the files and put them in place.

        Raises
        ------
        OutputError
            If that cannot be done.
        """
        for name in SCHEMAS:
            self._write(name)
        self._stack.close()
        for name, path in self._paths.items():
            out.put(path, place.table(name))

    def _write(self, name: str) -> None:
        waiting = self._waiting[name]
        if waiting:
            table = pa.concat_tables(waiting)
            self._writers[name].write_table(table, row_group_size=len(table))
            waiting.clear()


def _writer(path: Path, schema: pa.Schema) -> pq.ParquetWriter:
    texts = [field.name for field in schema if pa.types.is_string(field.type)]
    # Numbers hardly repeat: a dictionary of them costs time and gains nothing.
    return pq.ParquetWriter(
        path, schema, compression="zstd", compression_level=3, use_dictionary=texts
    )


class HeldRows:
    """Rows of rides that are held already; each file is read once.

    Parameters
    ----------
    out : the archive.
    """

    def __init__(self, out: Store) -> None:
        self._out = out
        self._read: dict[Place, dict[str, pa.Table]] = {}

    def of(self, ride: str, place: Place) -> Rows | None:
        """Rows of a ride that lie in a part; None if they cannot be read or are not all there."""
        try:
            tables = self._tables(place)
        except (OSError, pa.ArrowException):
            return None
        rows = {name: table.filter(pc.equal(table["ride"], ride)) for name, table in tables.items()}
        is_whole = len(rows["rides"]) + len(rows["failed"]) == 1
        return rows if is_whole else None

    def _tables(self, place: Place) -> dict[str, pa.Table]:
        if place not in self._read:
            self._read[place] = {
                name: pq.read_table(io.BytesIO(self._out.read(place.table(name))), schema=schema)
                for name, schema in SCHEMAS.items()
            }
        return self._read[place]
