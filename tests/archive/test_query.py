"""Questions in SQL, and those that are ready."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from tests.archive.builders import RIDES, VEHICLE, archive
from tests.support.simulator import simulate
from wherewatt.archive.answers import MOST_PRINTED, write_csv, write_markdown
from wherewatt.archive.columns import TABLES
from wherewatt.archive.query import Answer, open_archive
from wherewatt.archive.questions import QUESTIONS
from wherewatt.archive.run import HEAD_NAME
from wherewatt.archive.store import open_store
from wherewatt.errors import InputError


def ask(archived: Path | str, sql: str) -> list[tuple[Any, ...]]:
    with open_archive(str(archived)) as archive:
        return list(archive.ask(sql).rows)


def answered(archived: Path, name: str) -> pd.DataFrame:
    with open_archive(str(archived)) as archive:
        answer = archive.ask(QUESTIONS[name].sql)
        return pd.DataFrame(answer.rows, columns=list(answer.columns))


def tables(archived: Path) -> dict[str, pd.DataFrame]:
    return {name: pd.read_parquet(archived / name).drop(columns="part") for name in TABLES}


def per_km(frame: pd.DataFrame) -> pd.Series:
    return frame["battery_wh"] / frame["distance_km"]


def test_every_table_can_be_asked(archived: Path) -> None:
    for name, frame in tables(archived).items():
        assert ask(archived, f"SELECT count(*) FROM {name}") == [(len(frame),)]
        with open_archive(str(archived)) as archive:
            columns = archive.ask(f"SELECT * FROM {name}").columns
        assert columns == tuple(column.name for column in TABLES[name])


def test_rows_come_in_pieces(archived: Path) -> None:
    legs = tables(archived)["legs"]
    assert len(ask(archived, "SELECT * FROM legs")) == len(legs)


@pytest.mark.parametrize(
    ("sql", "said"),
    [
        ("", "nothing"),
        ("SELEC 1", "syntax error"),
        ("SELECT 1; SELECT 2", "SELECT and SELECT"),
        ("SELECT * FROM ride", "ride does not exist"),
        ("SELECT sum(path) FROM rides", "sum"),
        ("SELECT CAST(path AS INTEGER) FROM rides", "Conversion"),
        ("DROP VIEW rides", "DROP"),
        ("CREATE TABLE t AS SELECT 1", "CREATE"),
        ("DELETE FROM rides", "DELETE"),
        ("COPY rides TO '{out}/x.parquet'", "COPY"),
        ("EXPLAIN ANALYZE COPY rides TO '{out}/x.parquet'", "EXPLAIN"),
        ("ATTACH '{out}/x.db'", "ATTACH"),
        ("INSTALL httpfs", "found"),
        ("SET enable_external_access = true", "SET"),
        ("SELECT * FROM read_csv('{beside}')", "Cannot access"),
        ("SELECT * FROM '{beside}'", "found"),
        ("SELECT * FROM glob('{beside}*')", "found"),
    ],
)
def test_what_is_no_question_gives_one_line(
    archived: Path, tmp_path: Path, sql: str, said: str
) -> None:
    beside = tmp_path / "secret.csv"
    beside.write_text("a\n1\n", encoding="utf-8")
    before = sorted(archived.rglob("*"))
    with pytest.raises(InputError, match=said) as caught:
        ask(archived, sql.format(out=archived, beside=beside))
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith("SQL: found ")
    assert sorted(archived.rglob("*")) == before


def test_no_archive(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="wherewatt archive"):
        ask(tmp_path, "SELECT 1")


def test_archive_in_the_making_says_so(archived: Path, tmp_path: Path) -> None:
    head = (archived / HEAD_NAME).read_text(encoding="utf-8")
    (tmp_path / HEAD_NAME).write_text(head, encoding="utf-8")
    with pytest.raises(InputError, match="finish a part first"):
        ask(tmp_path, "SELECT 1")
    for name in TABLES:
        shutil.copytree(archived / name, tmp_path / name)
    with open_archive(str(tmp_path)) as archive:
        assert archive.notes == ()
    text = head.replace('"whole"', '"in the making"')
    (tmp_path / HEAD_NAME).write_text(text, encoding="utf-8")
    with open_archive(str(tmp_path)) as archive:
        assert [note.code for note in archive.notes] == ["archive-in-the-making"]


def test_folder_with_signs_of_a_pattern(rides: Path, tmp_path: Path) -> None:
    out = tmp_path / "rides [2026]'s"
    archive(rides, out)
    assert ask(out, "SELECT count(*) FROM rides") == [(len(RIDES),)]


def test_folder_behind_a_link(archived: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(archived)
    assert ask(tmp_path / "link", "SELECT count(*) FROM rides") == [(len(RIDES),)]


def test_object_store(archived: Path) -> None:
    store = open_store("memory://test-query/out")
    try:
        store.files.put(str(archived), store.root, recursive=True)
        assert ask(store.url, "SELECT count(*) FROM rides") == [(len(RIDES),)]
        with pytest.raises(InputError, match="Cannot access"):
            ask(store.url, f"SELECT * FROM read_parquet('{archived}/rides/*/*.parquet')")
    finally:
        store.files.rm("/test-query", recursive=True)


# The ready questions against pandas, which answers them in its own way.


def test_by_surface(archived: Path) -> None:
    sums = tables(archived)["sections"].groupby("surface")[["battery_wh", "distance_km"]].sum()
    found = answered(archived, "surface").set_index("surface")
    np.testing.assert_allclose(found["wh_per_km"].sort_index(), per_km(sums).sort_index())


def test_by_vehicle(archived: Path) -> None:
    (row,) = answered(archived, "vehicle").to_dict("records")
    rides = tables(archived)["rides"]
    assert (row["vehicle"], row["rides"], row["measured"]) == (VEHICLE, len(rides), len(rides))
    sums = rides[["battery_wh", "distance_km"]].sum()
    assert row["wh_per_km"] == pytest.approx(sums["battery_wh"] / sums["distance_km"])
    kmh = 3.6e3 * rides["distance_km"].sum() / rides["moving_s"].sum()
    assert row["kmh"] == pytest.approx(kmh)


def test_by_temperature(archived: Path) -> None:
    rides = tables(archived)["rides"]
    sums = rides.groupby(rides["temperature_c"] // 5 * 5)[["battery_wh", "distance_km"]].sum()
    found = answered(archived, "temperature")
    assert found["from_c"].tolist() == sums.index.tolist()
    np.testing.assert_allclose(found["wh_per_km"], per_km(sums))


def test_by_grade(archived: Path) -> None:
    legs = tables(archived)["legs"]
    legs = legs[legs["distance_m"] > 0].assign(distance_km=legs["distance_m"] / 1000.0)
    found = answered(archived, "grade").set_index("grade_pct")
    assert found["km"].sum() == pytest.approx(legs["distance_km"].sum())
    gentle = legs[(legs["grade"] > 0.03) & (legs["grade"] < 0.05)]
    sums = gentle[["battery_wh", "distance_km"]].sum()
    assert found.loc[4, "wh_per_km"] == pytest.approx(sums["battery_wh"] / sums["distance_km"])
    assert found["wh_per_km"].loc[-8:8].is_monotonic_increasing


def test_worst_climbs(archived: Path) -> None:
    sections = tables(archived)["sections"]
    climbs = sections[(sections["terrain"] == "climb") & (sections["distance_km"] >= 0.1)]
    worst = climbs["wh_per_km"].sort_values(ascending=False).head(20)
    assert answered(archived, "climbs")["wh_per_km"].tolist() == worst.tolist()


def test_drift_of_a_pack(archived: Path) -> None:
    """A mean of logarithms by weight, the prior taken out of each; near the pack's truth."""
    of = tables(archived)
    capacity = of["parameters"].query("name == 'battery_usable_wh' and informed_pct >= 5")
    ride = of["rides"].set_index("ride").loc[capacity["ride"]]
    month = ride["start_time"].dt.strftime("%Y-%m").to_numpy()
    after, before = (
        (np.log(capacity[f"{of}mean"]).to_numpy(), (capacity[f"{of}mean"] / capacity[f"{of}sd"]))
        for of in ("", "prior_")
    )
    weight = after[1].to_numpy() ** 2 - before[1].to_numpy() ** 2
    level = (after[1].to_numpy() ** 2 * after[0] - before[1].to_numpy() ** 2 * before[0]) / weight
    found = answered(archived, "pack").set_index("month")
    assert set(found.index) == set(month)
    for name, row in found.iterrows():
        own = month == name
        mean = np.exp(np.average(level[own], weights=weight[own]))
        assert row["usable_wh"] == pytest.approx(mean)
        assert row["usable_wh_sd"] == pytest.approx(mean / np.sqrt(weight[own].sum()))
        truth = simulate(*RIDES[0], garage=4).truth.battery.usable_wh
        assert abs(row["usable_wh"] - truth) < 4.0 * row["usable_wh_sd"]


def test_answers_as_text() -> None:
    rows = [(1, 1234.56, 0.01234, float("nan"), None, "a|b"), (2, -4.0, 0.0, 1e9, [1.5], "c\\")]
    file = io.StringIO()
    assert not write_markdown(Answer(tuple("abcdef"), iter(rows)), file)
    assert file.getvalue().splitlines() == [
        "| a | b | c | d | e | f |",
        "| --- | --- | --- | --- | --- | --- |",
        "| 1 | 1235 | 0.0123 | – | – | a\\|b |",
        "| 2 | -4.00 | 0.00 | 1000000000 | 1.50 | c\\\\ |",
    ]
    file = io.StringIO()
    write_csv(Answer(tuple("abcdef"), iter(rows)), file)
    assert (
        file.getvalue() == "a,b,c,d,e,f\n1,1234.56,0.01234,,,a|b\n2,-4.0,0.0,1000000000.0,1.5,c\\\n"
    )


def test_long_answers_are_cut_for_people_only() -> None:
    rows = [(number,) for number in range(MOST_PRINTED + 1)]
    file = io.StringIO()
    assert write_markdown(Answer(("n",), iter(rows)), file)
    assert len(file.getvalue().splitlines()) == MOST_PRINTED + 2
    file = io.StringIO()
    write_csv(Answer(("n",), iter(rows)), file)
    assert len(file.getvalue().splitlines()) == MOST_PRINTED + 2
