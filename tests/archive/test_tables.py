"""What the tables hold, and that other programs read them in place."""

from __future__ import annotations

from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import pyarrow.dataset as ds
import pyarrow.parquet as pq
import pytest

from wherewatt.allocate.loads import CAUSES
from wherewatt.archive.columns import TABLES
from wherewatt.config import load_config
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.report.tables import legs_frame, sections_frame, summary
from wherewatt.terrain.tiles import TileFolder

PATH = "a/ride.gpx"


@pytest.fixture(scope="module")
def result(rides: Path) -> RideResult:
    """One of the rides, as the report has it."""
    return analyse(rides / PATH, TileFolder(()), load_config())


def of_ride(archived: Path, table: str) -> pd.DataFrame:
    rides = pd.read_parquet(archived / "rides").set_index("path")
    frame = pd.read_parquet(archived / table)
    own = frame[frame["ride"] == rides.loc[PATH, "ride"]].drop(columns=["ride", "part"])
    return own.reset_index(drop=True)


def test_columns_are_those_declared(archived: Path) -> None:
    for table, columns in TABLES.items():
        for path in archived.glob(f"{table}/*/*.parquet"):
            assert pq.read_schema(path).names == [column.name for column in columns]


def test_types_are_those_that_every_reader_knows(archived: Path) -> None:
    """Spark 3 reads no nanoseconds (Spark SQL guide, Parquet Files, data type mapping)."""
    for path in archived.rglob("*.parquet"):
        schema = pq.ParquetFile(path).schema
        for number in range(len(schema)):
            column = schema.column(number)
            assert column.physical_type in {"BYTE_ARRAY", "INT64", "DOUBLE", "BOOLEAN"}
            assert "nanoseconds" not in str(column.logical_type)


@pytest.mark.parametrize(
    ("table", "of_report"), [("sections", sections_frame), ("legs", legs_frame)]
)
def test_rows_are_those_of_the_report(
    archived: Path, result: RideResult, table: str, of_report: object
) -> None:
    expected = of_report(result)
    held = of_ride(archived, table)
    for name in expected:
        if expected[name].dtype.kind == "M":
            error = expected[name] - held[name].astype(expected[name].dtype)
            assert error.between(pd.Timedelta(0), pd.Timedelta("1us")).all(), name
        elif expected[name].dtype.kind == "f":
            np.testing.assert_array_equal(held[name], expected[name], err_msg=name)
        else:
            assert held[name].tolist() == expected[name].tolist(), name


def test_ride_is_that_of_the_summary(archived: Path, result: RideResult) -> None:
    (row,) = of_ride(archived, "rides").to_dict("records")
    said = summary(result)
    track, energy = said["track"], said["energy"]
    for name in ("name", "sha256", "points", "stops", "sections", "duration_s", "moving_s"):
        assert row[name] == track[name], name
    assert row["distance_km"] == track["distance_km"]
    assert row["start_time"] == pd.Timestamp(track["start_time"]).floor("us")
    for name in ("battery_wh", "wh_per_km"):
        values = {name: "mean", f"{name}_low90": "low90", f"{name}_high90": "high90"}
        for column, key in values.items():
            assert row[column] == energy[name][key]
    assert row["full_charge_km"] == said["range"]["full_charge_km"]["mean"]
    assert [row[f"{cause}_wh"] for cause in CAUSES] == [
        energy["by_cause_wh"][cause]["mean"] for cause in CAUSES
    ]
    assert list(row["warnings"]) == [warning["code"] for warning in said["warnings"]]
    parameters = of_ride(archived, "parameters").to_dict("records")
    told = [{key: row[key] for key in parameters[0]} for row in said["calibration"]["parameters"]]
    assert parameters == told


def test_energies_add_up(archived: Path) -> None:
    rides = pd.read_parquet(archived / "rides").set_index("ride")["battery_wh"].sort_index()
    for table in ("sections", "legs"):
        frame = pd.read_parquet(archived / table)
        total = frame.groupby("ride")["battery_wh"].sum()
        np.testing.assert_allclose(total.sort_index(), rides, rtol=1e-9)
        causes = frame[[f"{cause}_wh" for cause in CAUSES]].sum(axis=1)
        assert abs(causes.sum() - rides.sum()) < 1e-9 * rides.sum()


def test_read_in_place_by_others(archived: Path) -> None:
    """Partitions are of the Hive layout, which DuckDB, pandas and pyarrow find by themselves."""
    for table in TABLES:
        frame = pd.read_parquet(archived / table)
        dataset = ds.dataset(archived / table, partitioning="hive")
        files = f"{archived}/{table}/*/*.parquet"
        ((count,),) = duckdb.sql(f"SELECT count(*) FROM '{files}'").fetchall()
        assert len(frame) == dataset.count_rows() == count
        parts = {str(part) for part in frame["part"]}
        found = duckdb.sql(f"SELECT DISTINCT part FROM '{files}'").fetchall()
        assert parts == {part for (part,) in found}
    assert len(pd.read_parquet(archived / "failed")) == 0
