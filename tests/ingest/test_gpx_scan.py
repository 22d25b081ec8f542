"""The fast GPX reader gives what the streaming one gives, to the bit, or declines."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.ingest.builders import gpx_text, timed_points
from tests.support.mutate import mutate
from wherewatt.ingest.gpx_salvage import salvage
from wherewatt.ingest.gpx_scan import scan
from wherewatt.ingest.points import PointColumns, make_track
from wherewatt.ingest.source import DEFAULT_LIMITS, Limits, Source
from wherewatt.ingest.track import Track
from wherewatt.ingest.xml_stream import EntityDeclaredError, TooDeepError

TIME = "<time>2025-05-04T10:00:00Z</time>"
POINT = f'<trkpt lat="1.5" lon="-2.25"><ele>3.5</ele>{TIME}</trkpt>'


def track_of(points: PointColumns) -> Track:
    return make_track(Source(Path("ride.gpx"), "", b""), points, ())


def slow(data: bytes) -> PointColumns | None:
    """The points, if the file is well-formed."""
    saved = salvage(data.decode(), DEFAULT_LIMITS)
    return saved.points if saved.broken is None else None


def same(left: PointColumns, right: PointColumns) -> bool:
    one, other = track_of(left), track_of(right)
    return (
        one.start_unix_ns == other.start_unix_ns
        and one.notes == other.notes
        and np.array_equal(left.unix_ns, right.unix_ns)
        and all(
            np.array_equal(one.columns[name].view(np.int64), column.view(np.int64))
            for name, column in other.columns.items()
        )
    )


def agree(data: bytes) -> bool:
    """Whether the fast reader reads the same as the slow one (True) or declines (False)."""
    fast = scan(data, DEFAULT_LIMITS)
    if fast is None:
        return False
    expected = slow(data)
    assert expected is not None
    assert same(fast, expected)
    return True


def document(inner: str, head: str = "", tail: str = "") -> bytes:
    return (
        f'<?xml version="1.0"?>\n{head}<gpx version="1.1"><trk><trkseg>\n{inner}\n'
        f"</trkseg></trk>{tail}</gpx>"
    ).encode()


def many(count: int) -> str:
    """Points that differ from each other in every value and in the widths of their numbers."""
    rng = random.Random(count)
    return "\n".join(
        f'<trkpt lat="{rng.uniform(-90, 90):.{rng.randrange(1, 9)}f}" '
        f'lon="{rng.uniform(-180, 180)}">'
        f"<ele>{rng.uniform(-10, 3000):.{rng.randrange(3)}f}</ele>"
        f"<time>2024-{rng.randrange(1, 13):02d}-{rng.randrange(1, 29):02d}T"
        f"{rng.randrange(24):02d}:00:{rng.randrange(60):02d}{rng.choice(('', '.5', '.123456789'))}"
        f"{rng.choice(('Z', '+05:30', ''))}</time></trkpt>"
        for _ in range(count)
    )


FAST = {
    "plain": POINT * 50,
    "one": POINT,
    "of every width": many(300),
    "longitude first": '<trkpt lon="1.5" lat="2"></trkpt>' * 20,
    "single quotes": "<trkpt lat='1.5' lon='2'></trkpt>" * 20,
    "both quotes": """<trkpt lat='1.5' lon="2"></trkpt>""" * 20,
    "white space in tags": '<trkpt  lat = "1.5"\n\tlon="2" ></trkpt>' * 20,
    "white space in values": '<trkpt lat=" 1.5" lon="2 "><ele>\n 4 </ele></trkpt>' * 20,
    "empty points": '<trkpt lat="1" lon="2"/>' * 20,
    "empty and full points": ('<trkpt lat="1" lon="2"/>' + POINT) * 20,
    "no attributes": "<trkpt><ele>1</ele></trkpt><trkpt/>" * 20,
    "one attribute": '<trkpt lat="1"><ele>1</ele></trkpt>' * 20,
    "other attributes": '<trkpt id="a" lat="1" x:lat="5" lon="2"></trkpt>' * 20,
    "empty values": '<trkpt lat="" lon=""><ele></ele><ele/><time/></trkpt>' * 20,
    "the first of several": '<trkpt><ele/><ele>5</ele><ele>6</ele><x:cad>1</x:cad></trkpt>' * 20,
    "time of something else": f"<trkpt><extensions>{TIME}<ele>1</ele></extensions></trkpt>" * 20,
    "prefixed children": "<trkpt><x:ele>5</x:ele><y:speed>2</y:speed></trkpt>" * 20,
    "long names": "<trkpt><extensions><averylongprefixindeed:power>5</averylongprefixindeed:power>"
    "<averylongprefixindeed:powers>6</averylongprefixindeed:powers></extensions></trkpt>" * 20,
    "attributes of children": '<trkpt><link href="a"/><ele unit="m" b=\'\'>4</ele></trkpt>' * 20,
    "mixed content": "<trkpt> text <ele>4</ele> more <sat>5</sat></trkpt> between " * 20,
    "missing values": (POINT + "<trkpt lat='1' lon='2'/>" + POINT * 5) * 9,
    "segments": (POINT * 3 + "</trkseg><trkseg>") * 30,
    "tracks": (POINT * 3 + "</trkseg></trk><trk><name>A &amp; ö</name><trkseg>") * 30,
    "comments between points": (POINT + "<!-- x --><?y z?>") * 30,
    "comments with tags": (POINT + "<!-- <x> -->") * 30,
    "upper case": POINT + "<TRKPT lat='1' lon='2'></TRKPT>" * 20,
    "waypoints": POINT + '</trkseg></trk><wpt lat="9" lon="9"><ele>1</ele></wpt><trk><trkseg>',
}  # fmt: skip
DECLINED = {
    "comment within a point": "<trkpt lat='1' lon='2'><ele>1<!-- x -->2</ele></trkpt>",
    "comment with a point": POINT + "<!--" + POINT + "-->",
    "CDATA within a point": "<trkpt><ele><![CDATA[5]]></ele></trkpt>",
    "CDATA with a point": POINT + "<name><![CDATA[" + POINT + "]]></name>",
    "instruction within a point": "<trkpt><?x y?></trkpt>",
    "entity": "<trkpt lat='1' lon='&#50;'><ele>&#49;</ele></trkpt>",
    "greater in a text": "<trkpt><desc>a > b</desc></trkpt>",
    "greater in an attribute": "<trkpt lat='1' lon='2' x='>'></trkpt>",
    "letters beyond ASCII": "<trkpt><desc>ö</desc></trkpt>",
    "point within a point": "<trkpt><ele>1</ele><trkpt></trkpt></trkpt>",
    "points of two prefixes": POINT + "<g:trkpt lat='1' lon='2'></g:trkpt>",
    "element within a value": "<trkpt><ele>1<x>2</x>3</ele></trkpt>",
    "white space in an end tag": "<trkpt><ele>1</ele ></trkpt>",
    "very deep": "<trkpt>" + "<a>" * 60 + "</a>" * 60 + "</trkpt>",
}
BROKEN = {
    "wrong end tag": "<trkpt><ele>1</time></trkpt>",
    "crossed": "<trkpt><a><b></a></b></trkpt>",
    "wrong case": "<trkpt><ele>1</Ele></trkpt>",
    "end tag alone": "<trkpt></ele><ele></trkpt>",
    "not closed": "<trkpt><ele>1</trkpt>",
    "attribute twice": "<trkpt lat='1' lat='1'></trkpt>",
    "attribute without quotes": "<trkpt lat=1 lon='2'></trkpt>",
    "attribute without space": "<trkpt lat='1'lon='2'></trkpt>",
    "attribute of a child": "<trkpt><ele a></ele></trkpt>",
    "slash in a tag": "<trkpt><e/le></trkpt>",
    "slash in an end tag": "<trkpt><ele></ele/></trkpt>",
    "nameless": "<trkpt>< ele></ ele></trkpt>",
    "ampersand": "<trkpt><ele>1</ele> & </trkpt>",
    "control character": "<trkpt><ele>1\x01</ele></trkpt>",
    "zero byte": "<trkpt>\x00</trkpt>",
    "CDATA end": "<trkpt>]]></trkpt>",
    "less in an attribute": "<trkpt lat='<' lon='1'></trkpt>",
    "ampersand between": POINT + " & " + POINT,
    "control between": POINT + " \x02 " + POINT,
}


@pytest.mark.parametrize("name", FAST)
def test_read_fast(name: str) -> None:
    assert agree(document(FAST[name]))


@pytest.mark.parametrize("name", DECLINED)
def test_left_to_the_slow_reader(name: str) -> None:
    data = document(POINT + DECLINED[name] + POINT)
    assert scan(data, DEFAULT_LIMITS) is None
    assert slow(data) is not None


@pytest.mark.parametrize("name", BROKEN)
def test_broken_files_are_not_read_fast(name: str) -> None:
    data = document(POINT * 3 + BROKEN[name] + POINT * 20)
    assert scan(data, DEFAULT_LIMITS) is None
    assert slow(data) is None


@pytest.mark.parametrize("name", FAST)
@pytest.mark.parametrize("size", [150, 400, 1000])
def test_chunks_of_any_size(name: str, size: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.ingest.gpx_scan._CHUNK_BYTES", size)
    agree(document(FAST[name], tail="<!-- " + "x" * size + " -->"))
    assert agree(document(POINT * 50 + "\n" * 2 * size + POINT * 50))


@pytest.mark.parametrize("name", DECLINED | BROKEN)
def test_chunks_do_not_hide_what_is_odd(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.ingest.gpx_scan._CHUNK_BYTES", 400)
    odd = (DECLINED | BROKEN)[name]
    for before in range(8):
        agrees = agree(document(POINT * before + odd + POINT * 20))
        assert name in DECLINED or not agrees


def test_prefixed_points() -> None:
    text = gpx_text(timed_points(30), prefix="g").replace("<ele>", "<g:ele>")
    assert agree(text.replace("</ele>", "</g:ele>").encode())


def test_head_and_tail() -> None:
    head = '<!-- a > b <trk> "x" --><?style a?>\n'
    assert agree(document(POINT, head, '<rte><rtept lat="1" lon="2"/></rte><!-- <trk> -->'))
    assert not agree(document(POINT, "<!-- <trkpt/> -->"))
    assert not agree(document(POINT, "<!DOCTYPE gpx SYSTEM 'x.dtd'>"))
    assert scan(document(POINT)[:-1], DEFAULT_LIMITS) is None
    assert scan(document(POINT) + b"<gpx/>", DEFAULT_LIMITS) is None
    assert scan(document(POINT).replace(b"gpx", b"html"), DEFAULT_LIMITS) is None


def test_default_attributes_are_seen() -> None:
    head = '<!DOCTYPE gpx [<!ATTLIST trkpt lat CDATA "5">]>'
    data = document("<trkpt lon='1'></trkpt>", head)
    assert scan(data, DEFAULT_LIMITS) is None
    points = slow(data)
    assert points is not None
    assert points.values["latitude_deg"] == [5.0]


def test_entities_are_not_expanded() -> None:
    data = document(POINT, '<!DOCTYPE gpx [<!ENTITY a "b">]>')
    assert scan(data, DEFAULT_LIMITS) is None
    with pytest.raises(EntityDeclaredError):
        slow(data)


def test_depth() -> None:
    data = document("<trkpt><a><b/></a></trkpt>")  # six deep
    assert scan(data, Limits(max_xml_depth=5)) is None
    with pytest.raises(TooDeepError):
        salvage(data.decode(), Limits(max_xml_depth=5))
    assert len(salvage(data.decode(), Limits(max_xml_depth=6)).points) == 1


def test_no_more_points_are_kept_than_show_that_there_are_too_many() -> None:
    limits = Limits(max_points=10)
    data = document(POINT * 100)
    assert len(salvage(data.decode(), limits).points) == 11
    points = scan(data, limits)
    assert points is not None
    assert len(points) > 10


def test_many_kinds_of_tags_are_left_to_the_slow_reader() -> None:
    data = document("".join(f"<trkpt><a{i}/></trkpt>" for i in range(500)))
    assert scan(data, DEFAULT_LIMITS) is None
    assert agree(document("".join(f"<trkpt><a{i}/></trkpt>" for i in range(100))))


SPACE = st.sampled_from(["", "", "", " ", "\n", "\t ", "\r\n"])
NUMBER = st.one_of(
    st.decimals(-200, 200, places=7).map(str),
    st.decimals(-9999, 9999, places=1).map(str),
    st.floats(allow_nan=True, allow_infinity=True).map(repr),
    st.from_regex(r"[+-]?[0-9_]{0,20}\.?[0-9]{0,20}([eE][+-]?[0-9]{1,3})?", fullmatch=True),
    st.sampled_from(["", "0", "-0", "-0.0", "5.", ".5", "1_0", "0x1", "nan", "inf", "1,5", "--1"]),
)
MOMENT = st.one_of(
    st.datetimes().map(lambda moment: moment.isoformat() + "Z"),
    st.from_regex(
        r"(18|19|20|21)[0-9]{2}-[01][0-9]-[0-3][0-9][T ][0-2][0-9]:[0-6][0-9]:[0-6][0-9]"
        r"(\.[0-9]{1,12})?(Z|z|[+-][0-2][0-9]:?[0-6][0-9]|)",
        fullmatch=True,
    ),
    st.sampled_from(["", "soon", "2024-02-30T00:00:00Z", "2024-02-29T23:59:60Z", "24-1-1T0:0:0"]),
)
QUOTE = st.sampled_from(['"', "'"])
ODD = st.sampled_from(
    ["", "", "", "<!-- c -->", "<![CDATA[x]]>", "<?p i?>", "&amp;", "é", ">", "text", "<hr>9</hr>"]
)


@st.composite
def element(draw: st.DrawFn, name: str, text: st.SearchStrategy[str]) -> str:
    name = draw(st.sampled_from(["", "", "x:", "gpxtpx:"])) + name
    attribute = draw(st.sampled_from(["", "", "", " a='1'", ' a="b" b="a"', " "]))
    if draw(st.integers(0, 9)) == 0:
        return f"<{name}{attribute}/>"
    return f"<{name}{attribute}>{draw(SPACE)}{draw(text)}{draw(SPACE)}</{name}>"


@st.composite
def extensions(draw: st.DrawFn) -> str:
    names = ["speed", "Power", "PowerInWatts", "cad", "cadence", "atemp", "temp", "distance", "hr"]
    inner = [draw(element(draw(st.sampled_from(names)), NUMBER)) for _ in range(draw(LENGTH))]
    return draw(
        element("extensions", st.just(draw(element("TrackPoint", st.just("".join(inner))))))
    )


LENGTH = st.integers(0, 4)


@st.composite
def point(draw: st.DrawFn) -> str:
    pairs = [("lat", draw(NUMBER)), ("lon", draw(NUMBER))][: draw(st.sampled_from([2, 2, 2, 1]))]
    if draw(st.booleans()):
        pairs.reverse()
    given_as = "".join(
        f" {draw(SPACE)}{name}{draw(SPACE)}={draw(SPACE)}{(q := draw(QUOTE))}{value}{q}"
        for name, value in pairs
    )
    parts = st.one_of(element("ele", NUMBER), element("time", MOMENT), extensions(), ODD, SPACE)
    inner = "".join(draw(st.lists(parts, max_size=5)))
    return f"<trkpt{given_as}/>" if not inner else f"<trkpt{given_as}>{inner}</trkpt>"


@st.composite
def gpx(draw: st.DrawFn) -> bytes:
    """A few different points, each given many times so that they are read together."""
    kinds = draw(st.lists(point(), min_size=1, max_size=4))
    order = draw(st.lists(st.sampled_from(kinds), min_size=1, max_size=20))
    between = draw(SPACE) + draw(ODD.filter(lambda text: text != ">"))
    return document(between.join(order * draw(st.sampled_from([1, 5, 20]))))


@given(gpx())
@settings(max_examples=300, deadline=None)
def test_any_well_formed_file(data: bytes) -> None:
    agree(data)


@given(st.lists(NUMBER, min_size=20, max_size=60), st.lists(MOMENT, min_size=60, max_size=60))
@settings(max_examples=150, deadline=None)
def test_any_number_and_time(numbers: list[str], moments: list[str]) -> None:
    rows = "".join(
        f"<trkpt lat='1' lon='2'><ele>{number}</ele><time>{moment}</time></trkpt>"
        for number, moment in zip(numbers, moments, strict=False)
    )
    assert agree(document(rows))


TOKENS = (
    *(b"<trkpt ", b"</trkpt>", b"<trkpt/>", b"<ele>", b"</ele>", b"<!--", b"-->", b"<![CDATA["),
    *(b"]]>", b"<?x", b"?>", b"&amp;", b"&", b"<", b">", b"/>", b"'", b'"', b"lat='1'", b" "),
    *(b"</trkseg>", b"<a:speed>", b"</a:speed>", b"<time>", b"</time>", b"\xc3\xa9", b"1e9"),
)


@pytest.mark.parametrize("name", ["plain", "missing values", "segments", "of every width"])
def test_damaged_files(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("wherewatt.ingest.gpx_scan._CHUNK_BYTES", 2000)
    whole = document(FAST[name])[:6000]
    whole = whole[: whole.rindex(b"</trkpt>") + 8] + b"</trkseg></trk></gpx>"
    read = 0
    for seed in range(400):
        damaged = mutate(whole, seed, changes=1 + seed % 4, tokens=TOKENS)
        try:
            read += agree(damaged)
        except UnicodeDecodeError:
            continue  # the slow reader is given text only
    assert 0 < read < 400
