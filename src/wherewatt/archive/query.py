"""Questions to an archive, in SQL."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from wherewatt.archive.columns import TABLES
from wherewatt.archive.run import WHOLE, read_head
from wherewatt.archive.store import Store, open_store, require_archive
from wherewatt.errors import InputError, Problem
from wherewatt.ingest.track import Note

_ROWS_AT_ONCE = 1000


@dataclass(frozen=True, slots=True)
class Answer:
    """The answer to a question.

    Parameters
    ----------
    columns : names of its columns.
    rows : its rows, as they come.
    """

    columns: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Archive:
    """An archive that is open for questions.

    Parameters
    ----------
    url : where it lies.
    notes : what there is to know of it.
    """

    url: str
    notes: tuple[Note, ...]
    _connection: Any = field(repr=False)

    def ask(self, sql: str) -> Answer:
        """Ask a question; it may read the archive's tables and nothing else.

        Raises
        ------
        InputError
            If it is not one SELECT, or DuckDB cannot answer it.
        """
        import duckdb

        try:
            self._check(sql)
            cursor = self._connection.execute(sql)
            columns = tuple(column[0] for column in cursor.description)
            first = cursor.fetchmany(_ROWS_AT_ONCE)
        except duckdb.Error as error:
            raise _refused(str(error)) from error
        return Answer(columns, _rows(cursor, first))

    def _check(self, sql: str) -> None:
        import duckdb

        statements = self._connection.extract_statements(sql)
        kinds = [statement.type for statement in statements]
        if kinds != [duckdb.StatementType.SELECT]:
            names = " and ".join(kind.name for kind in kinds) or "nothing"
            raise _refused(names)


@contextlib.contextmanager
def open_archive(url: str) -> Iterator[Archive]:
    """Open an archive for questions; its tables are ``rides``, ``sections``, ``legs`` and others.

    Raises
    ------
    InputError
        If there is no archive.
    """
    require_archive()
    import duckdb

    out = open_store(url)
    head = read_head(out)
    if head is None:
        mend = "make one with: wherewatt archive FOLDER --out " + url
        raise InputError(Problem(url, "", "no archive", "the folder of one", mend))
    notes = () if head["state"] == WHOLE else (_IN_THE_MAKING,)
    with contextlib.closing(duckdb.connect()) as connection:
        _confine(connection, out)
        try:
            for table in TABLES:
                files = f"read_parquet({_files(out, table)}, hive_partitioning = false)"
                connection.execute(f"CREATE VIEW {table} AS SELECT * FROM {files}")
        except duckdb.Error as error:
            raise _unreadable(url, str(error)) from error
        yield Archive(url, notes, connection)


_IN_THE_MAKING = Note(
    "archive-in-the-making",
    "the archive is in the making, or its last run was ended: rides may be missing",
)


def _confine(connection: Any, out: Store) -> None:
    """Let questions read the archive, and nothing else of this machine or the network."""
    if not out.is_local:
        connection.register_filesystem(out.files)
    folder = _quoted(out.full_url.rstrip("/") + "/")
    connection.execute("SET TimeZone = 'UTC'")
    connection.execute("SET autoinstall_known_extensions = false")
    connection.execute(f"SET allowed_directories = [{folder}]")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def _files(out: Store, table: str) -> str:
    """The files of a table, as SQL."""
    folder = f"{out.full_url.rstrip('/')}/{table}"
    if not any(mark in folder for mark in "*?["):
        return _quoted(f"{folder}/*/*.parquet")
    files = (f"{out.full_url.rstrip('/')}/{file}" for file in out.listing(table))
    return "[" + ", ".join(_quoted(file) for file in files if file.endswith(".parquet")) + "]"


def _quoted(text: str) -> str:
    return "'" + text.replace("'", "''") + "'"


def _rows(cursor: Any, first: list[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    import duckdb

    rows = first
    while rows:
        yield from rows
        try:
            rows = cursor.fetchmany(_ROWS_AT_ONCE)
        except duckdb.Error as error:
            raise _refused(str(error)) from error


def _unreadable(url: str, message: str) -> InputError:
    mend = "let wherewatt archive finish a part first; if it has, it makes anew what is missing"
    return InputError(Problem(url, "", message.split("\n\n")[0], "the tables of rides", mend))


def _refused(message: str) -> InputError:
    """What DuckDB says, without its drawing of the place and its lists of functions."""
    found = message.split("\n\n")[0].split("Candidate functions")[0].strip()
    expected = f"one SELECT on {', '.join(TABLES)}"
    return InputError(Problem("SQL", "", found, expected))
