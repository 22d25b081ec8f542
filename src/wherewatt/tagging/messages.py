"""What the page sends, checked: nothing of it is believed."""

from __future__ import annotations

import json
from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, NoReturn

from wherewatt.errors import WherewattError
from wherewatt.ingest.sidefile import STRUCTURES
from wherewatt.tagging.edits import Edit, Erase, Layer, MoveEdge, Paint, Stretch, Tags, layer_of

MOST_BYTES = 1 << 20  # thousands of tags
MOST_ITEMS = 5000
MOST_LETTERS = 200  # of the name of a place


class RequestError(WherewattError):
    """The page sent something that makes no sense."""


@dataclass(frozen=True, slots=True)
class Known:
    """What a message may speak of: surfaces by name, and distances up to the ride's end [m]."""

    surfaces: Collection[str]
    total_m: float


@dataclass(frozen=True, slots=True)
class PlaceOrder:
    """A stretch that shall be saved as a place: its ends [m] and what to say of it."""

    start_m: float
    end_m: float
    properties: dict[str, str]


def document_of(body: bytes) -> dict[str, Any]:
    """The object that a message holds.

    Raises
    ------
    RequestError
        If it is no JSON object.
    """
    try:
        document = json.loads(body, parse_constant=_refuse)
    except (ValueError, RecursionError) as error:
        raise RequestError("expected JSON") from error
    if not isinstance(document, dict):
        raise RequestError("expected a JSON object")
    return document


def tags_from(value: object, known: Known) -> Tags:
    """Tags that the page holds.

    Raises
    ------
    RequestError
        If they make no sense on this ride.
    """
    if not isinstance(value, dict):
        raise RequestError("tags: expected an object")
    layers = {
        layer: layer_of(_stretch(item, layer, known) for item in _items(value.get(layer), layer))
        for layer in Layer
    }
    return Tags(layers[Layer.SURFACE], layers[Layer.STRUCTURE])


def edits_from(value: object, known: Known) -> list[Edit]:
    """Edits that the page asks for.

    Raises
    ------
    RequestError
        If they make no sense on this ride.
    """
    return [_edit(item, known) for item in _items(value, "edits")]


def place_from(document: dict[str, Any], known: Known, least_m: float) -> PlaceOrder:
    """A place that shall be saved.

    Raises
    ------
    RequestError
        If it makes no sense on this ride, or is shorter than a ride would be found on.
    """
    start_m, end_m = _distance(document, "start_m", known), _distance(document, "end_m", known)
    if end_m - start_m < least_m:
        raise RequestError(f"a place has to be {least_m:.0f} m long at least")
    properties = {key: _text(document, key) for key in ("name", "surface", "structure")}
    if not properties["surface"] and not properties["structure"]:
        raise RequestError("a place needs a surface or a structure")
    for layer in Layer:
        if properties[layer]:
            _label(properties[layer], layer, known)
    return PlaceOrder(start_m, end_m, properties)


def _refuse(name: str) -> NoReturn:
    raise ValueError(name)


def _items(value: object, what: str) -> list[Any]:
    if not isinstance(value, list) or len(value) > MOST_ITEMS:
        raise RequestError(f"{what}: expected a list of at most {MOST_ITEMS} items")
    return value


def _stretch(item: object, layer: Layer, known: Known) -> Stretch:
    if not isinstance(item, list) or len(item) != 3:
        raise RequestError("expected [start, end, label]")
    start_m, end_m = _metres(item[0], known), _metres(item[1], known)
    if end_m <= start_m:
        raise RequestError("expected an end that lies after the start")
    return Stretch(start_m, end_m, _label(item[2], layer, known))


def _edit(item: object, known: Known) -> Edit:
    if not isinstance(item, dict):
        raise RequestError("expected an edit")
    try:
        layer = Layer(str(item.get("layer")))
    except ValueError as error:
        raise RequestError(f"expected a layer: {', '.join(Layer)}") from error
    match item.get("do"):
        case "paint":
            values = [item.get(key) for key in ("start_m", "end_m", "label")]
            return Paint(layer, _stretch(values, layer, known))
        case "erase":
            return Erase(layer, _distance(item, "start_m", known), _distance(item, "end_m", known))
        case "move":
            return MoveEdge(layer, _distance(item, "from_m", known), _distance(item, "to_m", known))
    raise RequestError("expected an edit: paint, erase, move")


def _label(value: object, layer: Layer, known: Known) -> str:
    labels = known.surfaces if layer is Layer.SURFACE else STRUCTURES
    if not isinstance(value, str) or value not in labels:
        raise RequestError(f"expected a known {layer}")
    return value


def _distance(document: dict[str, Any], key: str, known: Known) -> float:
    return _metres(document.get(key), known)


def _metres(value: object, known: Known) -> float:
    """A distance from the start [m]; what lies a little beyond the end is the end."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise RequestError("expected a distance in metres")
    if not -1.0 <= value <= known.total_m + 1.0:
        raise RequestError("expected a distance within the ride")
    return min(max(float(value), 0.0), known.total_m)


def _text(document: dict[str, Any], key: str) -> str:
    value = document.get(key, "")
    if not isinstance(value, str) or len(value) > MOST_LETTERS:
        raise RequestError(f"{key}: expected text of at most {MOST_LETTERS} letters")
    return "".join(sign for sign in value if sign.isprintable()).strip()
