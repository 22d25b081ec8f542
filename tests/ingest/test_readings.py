from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from wherewatt.errors import SideFileError
from wherewatt.ingest.place import EXPECTED, PlaceKind
from wherewatt.ingest.readings import CallOut, CallOutState, read_readings


def write(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "ride.readings.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def read(tmp_path: Path, text: str | bytes) -> tuple[CallOut, ...]:
    return read_readings(write(tmp_path, text))


def lines_of(tmp_path: Path, text: str | bytes) -> list[str]:
    with pytest.raises(SideFileError) as caught:
        read(tmp_path, text)
    return [line.removeprefix("ride.readings.csv: ") for line in str(caught.value).split("\n")]


def test_all_columns(tmp_path: Path) -> None:
    text = (
        "# as called out\n"
        "at,battery_pct,voltage_v,state,note\n"
        "\n"
        "2.2 mi, 94 %, 54.1 V, riding, \n"
        '0:31:00,88%,,Resting,"lights, then home"\n'
        " # later\n"
        "2025-05-04T10:40:00+02:00,,52.5,,\n"
        ",,,,\n"
    )
    first, second, third = read(tmp_path, text)
    assert [call_out.line for call_out in (first, second, third)] == [4, 5, 7]
    assert (first.at.kind, first.at.text) == (PlaceKind.DISTANCE, "2.2 mi")
    assert (first.battery_pct, first.voltage_v) == (94.0, 54.1)
    assert first.state is CallOutState.RIDING
    assert (second.at.value, second.battery_pct) == (1860.0, 88.0)
    assert np.isnan(second.voltage_v)
    assert (second.state, second.note) == (CallOutState.RESTING, "lights, then home")
    assert third.at.kind is PlaceKind.CLOCK
    assert np.isnan(third.battery_pct)
    assert (third.voltage_v, third.state, third.note) == (52.5, CallOutState.UNKNOWN, "")


def test_only_the_required_columns(tmp_path: Path) -> None:
    (call_out,) = read(tmp_path, "at,battery_pct\n1 km,0\n")
    assert call_out.battery_pct == 0.0
    assert call_out.state is CallOutState.UNKNOWN


def test_percent_may_rise_repeat_and_jump(tmp_path: Path) -> None:
    rows = "".join(f"{km} km,{pct}\n" for km, pct in enumerate([90, 90, 92, 40, 100]))
    read_back = read(tmp_path, "at,battery_pct\n" + rows)
    assert [call_out.battery_pct for call_out in read_back] == [90, 90, 92, 40, 100]


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_other_delimiters_and_the_decimal_comma(tmp_path: Path, delimiter: str) -> None:
    text = "at,battery_pct,voltage_v\n3.6 km,88.5,51.5".replace(",", delimiter).replace(".", ",")
    (call_out,) = read(tmp_path, text)
    assert (call_out.at.value, call_out.battery_pct, call_out.voltage_v) == (3600.0, 88.5, 51.5)


def test_quoted_decimal_comma(tmp_path: Path) -> None:
    (call_out,) = read(tmp_path, 'at,battery_pct\n"3,6 km", "88,5 %"\n')
    assert (call_out.at.value, call_out.battery_pct) == (3600.0, 88.5)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
@pytest.mark.parametrize("newline", ["\r\n", "\r"])
def test_as_spreadsheets_write_it(tmp_path: Path, encoding: str, newline: str) -> None:
    text = newline.join(("AT;Battery_Pct;note", "1 km;88;Brücke", ""))
    (call_out,) = read(tmp_path, text.encode(encoding))
    assert (call_out.line, call_out.note) == (2, "Brücke")


def test_header_alone_is_no_call_out(tmp_path: Path) -> None:
    assert read(tmp_path, "at,battery_pct\n") == ()


def test_all_problems_at_once(tmp_path: Path) -> None:
    text = (
        "at,battery_pct,voltage_v,state\n"
        "somewhere,101,,\n"
        "1 km,-1,,\n"
        "2 km,nan,0,\n"
        "3 km,,,\n"
        "4 km,88,51000,restin\n"
        "5 km,88,,x,y\n"
        '6 km,"88\n'
        "7 km,88\n"
    )
    percent = "expected a number from 0 to 100"
    volts = "expected volts above 0 and up to 1000"
    assert lines_of(tmp_path, text) == [
        f"line 2: found 'somewhere', expected {EXPECTED}",
        f"line 2: found battery_pct '101', {percent}",
        f"line 3: found battery_pct '-1', {percent}",
        f"line 4: found battery_pct 'nan', {percent}",
        f"line 4: found voltage_v '0', {volts}",
        "line 5: found neither battery_pct nor voltage_v, expected at least one of them",
        f"line 6: found voltage_v '51000', {volts}",
        "line 6: found state 'restin', expected riding, resting or nothing; "
        "did you mean 'resting'?",
        "line 7: found 5 cells, expected at most 4, as in the header; "
        'put a cell that holds the delimiter in quotes: "3,6 km"',
        "line 8: found '6 km,\"88', expected quotes in pairs",
    ]


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        (
            "at,batery_pct",
            ["found column 'batery_pct', expected a known column; did you mean 'battery_pct'?"],
        ),
        (
            "at,battery_pct,colour",
            [
                "found column 'colour', expected a known column; "
                "known: at, battery_pct, note, state, voltage_v"
            ],
        ),
        ("at,note", ["found no column 'battery_pct', expected columns at, battery_pct"]),
        (
            "note",
            [
                "found no column 'at', expected columns at, battery_pct",
                "found no column 'battery_pct', expected columns at, battery_pct",
            ],
        ),
        ("at,at,battery_pct", ["found column 'at' twice, expected each column once"]),
        ("at,,battery_pct", ["found column '', expected a known column; "]),
    ],
)
def test_wrong_header(tmp_path: Path, header: str, expected: list[str]) -> None:
    lines = lines_of(tmp_path, f"\n{header}\n1 km,oops\n")
    assert len(lines) == len(expected)
    for line, start in zip(lines, expected, strict=True):
        assert line.startswith(f"line 2: {start}")


def test_empty_file(tmp_path: Path) -> None:
    assert lines_of(tmp_path, "\n# nothing\n") == [
        "found an empty file, expected a header line with at, battery_pct"
    ]


def test_not_text(tmp_path: Path) -> None:
    assert lines_of(tmp_path, b"at,battery_pct\n1 km,88\n2 km,\xff\n") == [
        "line 3: found bytes that are no text, expected UTF-8; save the file as UTF-8"
    ]


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(SideFileError, match="No such file or directory, expected a readable file"):
        read_readings(tmp_path / "none.csv")


def test_long_and_many_lined_text_stays_one_short_line(tmp_path: Path) -> None:
    (line,) = lines_of(tmp_path, "at,battery_pct\n" + "x" * 5000 + ",88\n")
    assert len(line) < 250
