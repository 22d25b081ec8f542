"""An archive in a notebook: its tables as frames, and questions to it."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from wherewatt.ingest.track import Note
from wherewatt.notebook.given import AnyPath

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class RideArchive:
    """An archive; what it holds is read when it is asked for, anew each time.

    Parameters
    ----------
    url : where it lies.
    notes : what there is to know of it.
    """

    url: str
    notes: tuple[Note, ...] = ()

    @property
    def rides(self) -> pd.DataFrame:
        """One row per ride."""
        return self.table("rides")

    @property
    def sections(self) -> pd.DataFrame:
        """One row per section of every ride; for few columns or rides, `ask`."""
        return self.table("sections")

    @property
    def legs(self) -> pd.DataFrame:
        """One row per leg of every ride, which may be many; for few columns or rides, `ask`."""
        return self.table("legs")

    def table(self, name: str) -> pd.DataFrame:
        """A whole table of the archive, with its declared columns; docs/archive.md lists them.

        Raises
        ------
        InputError
            If the archive has no such table, or it cannot be read.
        """
        from wherewatt.archive.columns import TABLES
        from wherewatt.errors import InputError, Problem, nearest_name

        if name not in TABLES:
            known = f"a table of {self.url}"
            raise InputError(Problem("table", "", f"'{name}'", known, nearest_name(name, TABLES)))
        frame = self.ask(f"SELECT * FROM {name}")
        types = {
            column.name: column.dtype
            for column in TABLES[name]
            if not column.dtype.startswith(("list", "str"))
        }
        return frame[[column.name for column in TABLES[name]]].astype(types)

    def ask(self, sql: str) -> pd.DataFrame:
        """The answer to a question in SQL; it may read the archive's tables and nothing else.

        Raises
        ------
        InputError
            If it is not one SELECT, or DuckDB cannot answer it.
        """
        import pandas as pd  # slow to load

        from wherewatt.archive.query import open_archive

        with open_archive(self.url) as archive:
            answer = archive.ask(sql)
            rows: list[tuple[Any, ...]] = list(answer.rows)
        return pd.DataFrame(rows, columns=list(answer.columns))


def read_archive(url: AnyPath = "archive") -> RideArchive:
    """Open the tables that the archive verb made, in a folder or an object store.

    Raises
    ------
    InputError
        If there is no archive, or its libraries are not installed.
    """
    from wherewatt.archive.query import open_archive

    with open_archive(os.fspath(url)) as archive:
        return RideArchive(archive.url, archive.notes)
