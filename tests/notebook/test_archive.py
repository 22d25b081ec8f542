"""An archive's tables as frames: those of the report."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

import wherewatt
from tests.archive.builders import archive
from tests.notebook.conftest import TRACK
from wherewatt.archive.columns import TABLES


@pytest.fixture(scope="module")
def url(tmp_path_factory: pytest.TempPathFactory) -> str:
    """An archive of one ride."""
    pytest.importorskip("duckdb")
    folder = tmp_path_factory.mktemp("one")
    (folder / "rides").mkdir()
    for path in TRACK.parent.glob("harbour_commute.*"):
        shutil.copy(path, folder / "rides")
    archive(folder / "rides", folder / "archive")
    return str(folder / "archive")


def test_tables_are_those_of_the_report(url: str) -> None:
    opened = wherewatt.read_archive(url)
    report = wherewatt.report(TRACK)
    assert opened.notes == ()
    for frame, expected in ((opened.sections, report.sections), (opened.legs, report.legs)):
        times = ["start_time", "end_time"]  # an archive holds them to the microsecond
        assert_frame_equal(
            frame.drop(columns=["ride", *times]),
            expected.drop(columns=times),
            check_exact=True,
        )
        for name in times:
            assert (frame[name] == expected[name].dt.floor("us")).all()
    ride = opened.rides.iloc[0]
    assert ride["battery_wh"] == report.summary["energy"]["battery_wh"]["mean"]
    assert ride["name"] == report.name


@pytest.mark.parametrize("table", TABLES)
def test_columns_are_the_declared_ones(table: str, url: str) -> None:
    frame = wherewatt.read_archive(url).table(table)
    assert list(frame.columns) == [column.name for column in TABLES[table]]
    for column in TABLES[table]:
        if column.dtype in ("int64", "float64", "bool", "datetime64[ns, UTC]"):
            assert str(frame[column.name].dtype) == column.dtype, column.name


def test_questions(url: str) -> None:
    answer = wherewatt.read_archive(url).ask("SELECT count(*) AS legs FROM legs")
    assert_frame_equal(answer, pd.DataFrame({"legs": [len(wherewatt.report(TRACK).legs)]}))


def test_what_cannot_be_used(url: str, tmp_path: Path) -> None:
    opened = wherewatt.read_archive(Path(url))
    with pytest.raises(wherewatt.InputError, match="no archive"):
        wherewatt.read_archive(tmp_path)
    with pytest.raises(wherewatt.InputError, match="did you mean 'legs'"):
        opened.table("leg")
    with pytest.raises(wherewatt.InputError, match="one SELECT"):
        opened.ask("DROP TABLE rides")
