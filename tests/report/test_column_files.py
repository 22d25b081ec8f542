"""Parquet and CSV files made without pandas, as pandas and pyarrow make and read them."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from wherewatt.columns import Column
from wherewatt.report.column_files import FileColumns, write_csv, write_parquet
from wherewatt.report.result import RideResult
from wherewatt.report.table import Table
from wherewatt.report.tables import legs_table, sections_table

COLUMNS = (
    Column("number", "1", "int64", ""),
    Column("at", "UTC", "datetime64[ns, UTC]", ""),
    Column("energy", "Wh", "float64", ""),
    Column("name", "", "str", ""),
)
TABLE = Table.of(
    COLUMNS,
    {
        "number": [1, 2, 3],
        "at": np.array(["2025-02-01T10:00:00", "2025-02-01T10:00:01.5", "2025-02-01"], "M8[ns]"),
        "energy": [0.1, np.nan, -0.0],
        "name": ['a "b", c', "Brücke", ""],
    },
)


@pytest.mark.parametrize("which", ["sections", "legs"])
def test_the_file_is_what_pandas_would_write(
    which: str, simulated_result: RideResult, tmp_path: Path
) -> None:
    """Column types, values and nulls are those that pandas and pyarrow write for the frame."""
    table = {"sections": sections_table, "legs": legs_table}[which](simulated_result)
    write_parquet(table.for_parquet(), tmp_path / "ours.parquet")
    table.to_frame().to_parquet(tmp_path / "theirs.parquet", engine="pyarrow", index=False)
    ours, theirs = (pq.read_table(tmp_path / f"{name}.parquet") for name in ("ours", "theirs"))
    assert ours.schema.equals(theirs.schema, check_metadata=False)
    assert ours.equals(theirs)
    read = pd.read_parquet(tmp_path / "ours.parquet")
    pd.testing.assert_frame_equal(read, table.to_frame())


def test_what_is_not_known_is_null(tmp_path: Path) -> None:
    write_parquet(TABLE.for_parquet(), tmp_path / "a.parquet")
    read = pq.read_table(tmp_path / "a.parquet")
    assert read["energy"].null_count == 1
    assert read["name"].to_pylist() == ['a "b", c', "Brücke", ""]
    assert read["number"].type == pa.int64()


def test_only_what_repeats_is_compressed(tmp_path: Path) -> None:
    """Digits that were measured do not shrink (a rule of our own); what stays the same does."""
    measured = np.random.default_rng(1).normal(size=1000)
    constant, partly = np.full(1000, 0.3), np.where(np.arange(1000) < 600, 0.0, measured)
    numbers = {"measured": measured, "constant": constant, "partly": partly}
    write_parquet(FileColumns(numbers, {}, tuple(numbers)), tmp_path / "a.parquet")
    group = pq.read_metadata(tmp_path / "a.parquet").row_group(0)
    how = {group.column(at).path_in_schema: group.column(at).compression for at in range(3)}
    assert how == {"measured": "UNCOMPRESSED", "constant": "SNAPPY", "partly": "SNAPPY"}
    read = pd.read_parquet(tmp_path / "a.parquet")
    pd.testing.assert_frame_equal(read, pd.DataFrame(numbers))


def test_bytes_and_what_is_said_of_the_file(tmp_path: Path) -> None:
    data = FileColumns({}, {}, ("b",), {"b": [b"x", None, b""]}, {"key": "value"})
    write_parquet(data, tmp_path / "a.parquet")
    read = pq.read_table(tmp_path / "a.parquet")
    assert read["b"].type == pa.binary()
    assert read["b"].to_pylist() == [b"x", None, b""]
    assert read.schema.metadata == {b"key": b"value"}


def test_no_rows(tmp_path: Path) -> None:
    empty = Table.of(COLUMNS, {column.name: [] for column in COLUMNS})
    write_parquet(empty.for_parquet(), tmp_path / "a.parquet")
    assert pq.read_table(tmp_path / "a.parquet").num_rows == 0


def test_csv_reads_back_as_it_was(simulated_result: RideResult, tmp_path: Path) -> None:
    """By pandas: the same texts and, to the last digit, the same numbers."""
    path = tmp_path / "a.csv"
    for table in (TABLE, sections_table(simulated_result), legs_table(simulated_result)):
        write_csv(table.for_csv(), path)
        read = pd.read_csv(path, keep_default_na=False)
        frame = table.to_frame()
        assert list(read) == list(frame)
        for name, column in frame.items():
            if pd.api.types.is_float_dtype(column):
                got = pd.to_numeric(read[name]).astype(float)
                assert np.array_equal(got, column, equal_nan=True)
            elif isinstance(column.dtype, pd.DatetimeTZDtype):
                assert list(read[name]) == [row[name] for row in table.rows()]
            else:
                assert list(read[name]) == list(column)


def test_csv_is_plain_where_it_can_be(tmp_path: Path) -> None:
    columns = FileColumns({"n": np.array([0.5, np.nan])}, {"t": ["a b", "ü"]}, ("t", "n"))
    write_csv(columns, tmp_path / "a.csv")
    assert (tmp_path / "a.csv").read_text(encoding="utf-8") == "t,n\na b,0.5\nü,\n"
    write_csv(replace(columns, texts={"t": ['a "b", c', ""]}), tmp_path / "a.csv")
    expected = [["t", "n"], ['a "b", c', "0.5"], ["", ""]]
    with (tmp_path / "a.csv").open(encoding="utf-8", newline="") as file:
        assert list(csv.reader(file)) == expected


def test_times_are_as_short_as_they_can_be() -> None:
    assert [row["at"] for row in TABLE.rows()] == [
        "2025-02-01T10:00:00.000Z", "2025-02-01T10:00:01.500Z", "2025-02-01T00:00:00.000Z",
    ]  # fmt: skip


def test_a_missing_column_is_told() -> None:
    with pytest.raises(KeyError, match="energy"):
        Table.of(COLUMNS, {"number": [1], "at": np.zeros(1, "M8[ns]")})
