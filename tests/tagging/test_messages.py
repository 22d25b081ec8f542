"""Nothing that the page sends is believed."""

from __future__ import annotations

import pytest

from wherewatt.tagging.edits import Erase, Layer, MoveEdge, Paint, Stretch
from wherewatt.tagging.messages import (
    Known,
    RequestError,
    document_of,
    edits_from,
    place_from,
    tags_from,
)

KNOWN = Known(("asphalt", "sand"), 1000.0)


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{", b"\xff", b'{"a": NaN}', b"[" * 100_000, b'{"a": 1e999}x']
)
def test_no_object(body: bytes) -> None:
    with pytest.raises(RequestError, match="expected"):
        document_of(body)


@pytest.mark.parametrize(
    "item",
    [
        None,
        [0, 10],
        [0, 10, "lava"],
        [0, 10, ["sand"]],
        [10, 10, "sand"],
        [0, 2000, "sand"],
        [-5, 10, "sand"],
        [0, float("inf"), "sand"],
        [0, 10**400, "sand"],
        [False, True, "sand"],
        ["0", "10", "sand"],
    ],
)
def test_no_tag(item: object) -> None:
    with pytest.raises(RequestError, match="expected"):
        tags_from({"surface": [item], "structure": []}, KNOWN)


def test_tags() -> None:
    tags = tags_from({"surface": [[0, 1000.5, "sand"]], "structure": [[1, 2, "bridge"]]}, KNOWN)
    assert tags.surface == (Stretch(0.0, 1000.0, "sand"),)
    assert tags.structure == (Stretch(1.0, 2.0, "bridge"),)


@pytest.mark.parametrize("value", [None, [], {"surface": []}, {"surface": [[0, 1, "sand"]] * 6000}])
def test_no_tags(value: object) -> None:
    with pytest.raises(RequestError):
        tags_from(value, KNOWN)


def test_edits() -> None:
    assert edits_from(
        [
            {"do": "paint", "layer": "surface", "start_m": 1, "end_m": 2, "label": "sand"},
            {"do": "erase", "layer": "structure", "start_m": 1, "end_m": 2},
            {"do": "move", "layer": "surface", "from_m": 1, "to_m": 2},
        ],
        KNOWN,
    ) == [
        Paint(Layer.SURFACE, Stretch(1.0, 2.0, "sand")),
        Erase(Layer.STRUCTURE, 1.0, 2.0),
        MoveEdge(Layer.SURFACE, 1.0, 2.0),
    ]


@pytest.mark.parametrize(
    "item",
    [
        1,
        {},
        {"do": "paint", "layer": "roof", "start_m": 1, "end_m": 2, "label": "sand"},
        {"do": "paint", "layer": "structure", "start_m": 1, "end_m": 2, "label": "sand"},
        {"do": "exec", "layer": "surface"},
        {"do": "move", "layer": "surface", "from_m": 1},
    ],
)
def test_no_edit(item: object) -> None:
    with pytest.raises(RequestError, match="expected"):
        edits_from([item], KNOWN)


def test_place() -> None:
    order = place_from(
        {"start_m": 0, "end_m": 50, "surface": "sand", "name": " <b>\x00\x1b[1m\ud800 "},
        KNOWN,
        30.0,
    )
    assert order.properties == {"name": "<b>[1m", "surface": "sand", "structure": ""}


@pytest.mark.parametrize(
    "change",
    [
        {"end_m": 20},
        {"surface": ""},
        {"surface": "lava"},
        {"structure": "viaduct"},
        {"name": 7},
        {"name": "a" * 201},
    ],
)
def test_no_place(change: dict[str, object]) -> None:
    with pytest.raises(RequestError):
        place_from({"start_m": 0, "end_m": 50, "surface": "sand"} | change, KNOWN, 30.0)
