"""Points written alike: read as the slow reader reads them, up to one that is written otherwise."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.ingest.test_gpx_scan import POINT, agree, document
from tests.support.mutate import mutate
from wherewatt.ingest.gpx_alike import Run, read_alike
from wherewatt.ingest.gpx_pattern import pattern_of
from wherewatt.ingest.text_words import Windows

COUNT = 300


def run_of(data: bytes) -> Run | None:
    """The run that begins with the first point of a file."""
    start = data.index(b"<trkpt")
    pattern = pattern_of(data, start, b"trkpt")
    return None if pattern is None else read_alike(data, start, len(data), pattern)


def points(
    seed: int, *, form: str = '<trkpt lat="{:.7f}" lon="{:.6f}"><ele>{:.1f}</ele>{}</trkpt>'
) -> list[str]:
    """Points of one form whose numbers have all widths and signs, a second to a minute apart."""
    rng = random.Random(seed)
    moment = datetime(1999, 12, 31, 23, 0, 0, tzinfo=UTC)
    rows = []
    for _ in range(COUNT):
        moment += timedelta(seconds=rng.choice((1, 1, 1, 7, 60)))
        time = f"<time>{moment:%Y-%m-%dT%H:%M:%S}Z</time>"
        size = 10.0 ** rng.randrange(-3, 6)
        row = rng.uniform(-90, 90), rng.uniform(-180, 180), rng.uniform(-size, size), time
        rows.append(form.format(*row))
    return rows


FORMS = {
    "plain": '<trkpt lat="{:.7f}" lon="{:.6f}"><ele>{:.1f}</ele>{}</trkpt>',
    "no decimals": '<trkpt lat="{:.0f}" lon="{:.0f}"><ele>{:.0f}</ele>{}</trkpt>',
    "many decimals": '<trkpt lat="{:.12f}" lon="{:.9f}"><ele>{:.8f}</ele>{}</trkpt>',
    "longitude first": '<trkpt lon="{:.5f}" lat="{:.5f}"><ele>{:.2f}</ele>{}</trkpt>',
    "single quotes": "<trkpt lat='{:.5f}' lon='{:.5f}' ><ele>{:.2f}</ele>{}</trkpt>",
    "no height": '<trkpt lat="{0:.7f}" lon="{1:.6f}">{3}</trkpt>',
    "no time": '<trkpt lat="{0:.7f}" lon="{1:.6f}"><ele>{2:.3f}</ele></trkpt>',
    "nothing more": '<trkpt lat="{0:.7f}" lon="{1:.6f}"/>',
    "other numbers": '<trkpt lat="{:.7f}" lon="{:.6f}"><e><hr>{:.0f}</hr><n>a 7</n></e>{}</trkpt>',
    "of several the first": '<trkpt lat="{:.3f}" lon="{:.3f}"><e><x:cad>{:.1f}</x:cad><y><cadence>'
    "5</cadence></y></e>{}</trkpt>",
    "another height": '<trkpt lat="{:.3f}" lon="{:.3f}"><e><ele>{:.1f}</ele></e>{}</trkpt>',
    "white space": '<trkpt\n lat="{:.7f}" lon="{:.6f}">\n  <ele>{:.1f}</ele>\n\t{}\n</trkpt>\r\n',
}


@pytest.mark.parametrize("name", FORMS)
def test_all_points_of_a_form(name: str) -> None:
    data = document("\n".join(points(1, form=FORMS[name])))
    run = run_of(data)
    assert run is not None
    assert len(run.columns) == COUNT
    assert agree(data)


TIMES: dict[str, Callable[[datetime], str]] = {
    "no zone": lambda at: f"{at:%Y-%m-%dT%H:%M:%S}",
    "ahead": lambda at: f"{at:%Y-%m-%dT%H:%M:%S}+05:30",
    "behind": lambda at: f"{at:%Y-%m-%dT%H:%M:%S}-11:00",
    "milliseconds": lambda at: f"{at:%Y-%m-%dT%H:%M:%S}.{at.second * 16 + 7:03d}Z",
    "nanoseconds": lambda at: f"{at:%Y-%m-%dT%H:%M:%S}.{at.second * 16_000_001:09d}Z",
}


@pytest.mark.parametrize("name", TIMES)
def test_all_forms_of_time(name: str) -> None:
    """Through the end of a leap year's February, and before 1970."""
    for start in (datetime(2024, 2, 28, 23, 59, tzinfo=UTC), datetime(1951, 1, 1, tzinfo=UTC)):
        moments = (TIMES[name](start + timedelta(seconds=7 * at)) for at in range(15_000))
        rows = (f'<trkpt lat="1.5" lon="2.5"><time>{text}</time></trkpt>' for text in moments)
        data = document("".join(rows))
        run = run_of(data)
        assert run is not None
        assert len(run.columns) == 15_000
        assert agree(data)


ODD = {
    "more decimals": lambda row: row.replace("</ele>", "0</ele>"),
    "no decimals": lambda row: row.replace("</ele>", "</ele>").replace(".", "", 1),
    "empty": lambda row: "<trkpt/>",
    "no height": lambda row: row.replace("<ele>", "<elf>").replace("</ele>", "</elf>"),
    "plus": lambda row: row.replace('lat="', 'lat="+'),
    "minus alone": lambda row: "<trkpt lat='-' lon='-'></trkpt>",
    "white space": lambda row: row.replace("<ele>", "<ele> "),
    "other quotes": lambda row: row.replace('"', "'"),
    "second 60": lambda row: re.sub(r":\d\dZ", ":60Z", row),
    "no such day": lambda row: row.replace("<time>2000-01", "<time>2000-13"),
    "no digits": lambda row: row.replace("<time>2000", "<time>2O00"),
    "beyond ASCII": lambda row: row.replace("<time>20", "<time>é"),
    "later than can be told": lambda row: row.replace("<time>2000", "<time>2200"),
}


@pytest.mark.parametrize("name", ODD)
@pytest.mark.parametrize("place", [0, 1, 150, COUNT - 1])
def test_a_point_written_otherwise_is_read_as_it_is(name: str, place: int) -> None:
    rows = points(2)
    rows[place] = ODD[name](rows[place])
    data = document("\n".join(rows))
    run = run_of(data)
    assert run is None or place == 0 or len(run.columns) in (place, COUNT)
    assert agree(data)


@pytest.mark.parametrize(
    "gap",
    [
        "</trkseg>\n<trkseg>",
        "</trkseg></trk><trk><name>A &amp; ö</name><trkseg>",
        "<!-- x --><?y z?>",
        " \t\r\n ",
        "<!-- <x> -->",
        " text > ",
    ],
)
def test_what_lies_between_points_is_no_end(gap: str) -> None:
    rows = points(3)
    data = document(gap.join(["\n".join(rows[:100]), "\n".join(rows[100:101]), *rows[101:]]))
    run = run_of(data)
    assert run is not None
    assert len(run.columns) == COUNT
    assert agree(data)


@pytest.mark.parametrize("gap", ["<!--", "<![CDATA[", "</trkseg>", "&", "<x>", "\x01"])
def test_what_is_broken_between_points_is_seen(gap: str) -> None:
    rows = points(4)
    assert not agree(document("\n".join(rows[:100]) + gap + "\n".join(rows[100:])))


def test_points_of_another_name_are_none() -> None:
    other = POINT.replace("trkpt", "trkptx")
    assert run_of(document((other + "\n") * 400)) is None
    assert not agree(document(POINT + (other + "\n") * 400))


@pytest.mark.parametrize("size", [700, 5000])
def test_damaged_files(size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """As `tests.ingest.test_gpx_scan.test_damaged_files`, with every run taken."""
    monkeypatch.setattr("wherewatt.ingest.gpx_scan._FEWEST_ALIKE", 1)
    monkeypatch.setattr("wherewatt.ingest.gpx_scan._CHUNK_BYTES", size)
    seeds = [document("\n".join(points(5, form=form)[:40])) for form in FORMS.values()]
    read = 0
    for number in range(600):
        data = mutate(seeds[number % len(seeds)], number, changes=1 + number % 3)
        try:
            data.decode()
        except UnicodeDecodeError:
            continue
        read += agree(data)
    assert read > 60


def test_numbers_of_a_word() -> None:
    """Against int(), of one to seven characters and a sign, before any byte."""
    texts = [b"0", b"7", b"-7", b"10", b"-0", b"999999", b"-999999", b"1234567", b"000012"]
    texts = [text for text in texts if len(text) <= 7]
    data = b"".join(text + b"<and more>" for text in texts) + bytes(16)
    starts = np.array([data.index(text + b"<") for text in texts])
    starts = np.cumsum([0, *(len(text) + 10 for text in texts[:-1])])
    faults = np.zeros(len(texts), dtype=np.uint64)
    windows = Windows(np.frombuffer(data, dtype=np.uint8), starts, 0)
    whole, minus, length = windows.whole_numbers(0, ord("<"), faults)
    assert (faults == 0).all()
    assert whole.tolist() == [abs(int(text)) for text in texts]
    assert minus.tolist() == [text.startswith(b"-") for text in texts]
    assert length.tolist() == [len(text) for text in texts]


@pytest.mark.parametrize("text", [b"", b"-", b"+1", b"1-2", b"1e5", b" 1", b"12345678", b"1\xb12"])
def test_what_is_no_number_is_a_fault(text: bytes) -> None:
    data = text + b"<and more>" + bytes(16)
    faults = np.zeros(1, dtype=np.uint64)
    Windows(np.frombuffer(data, dtype=np.uint8), np.zeros(1, dtype=np.intp), 0).whole_numbers(
        0, ord("<"), faults
    )
    assert faults[0] != 0
