"""Latitude and longitude out of the start tags of many track points at once.

Start tags mostly look alike but for their digits. So a tag whose attributes are nothing but two
plain decimals is taken as a sample, and all tags of its shape are as well-formed as it is. expat
reads the others.
"""

from __future__ import annotations

import re

import numpy as np

from wherewatt.arrays import BoolArray, FloatArray, IntArray
from wherewatt.ingest.gpx_tags import attributes_of
from wherewatt.ingest.points import to_float
from wherewatt.ingest.text_columns import Texts, decimals_in, same_shape, shape_by_shape

# lat and lon in either order and quotation marks; never one of them twice
PLAIN_TAG = re.compile(
    r"<[^\s<>]+"
    r"\s+(?P<one>lat|lon)\s*=\s*(?P<mark>[\"'])(?P<first>-?\d+(?:\.\d+)?)(?P=mark)"
    r"\s+(?!(?P=one))(?:lat|lon)\s*=\s*(?P<other>[\"'])(?P<second>-?\d+(?:\.\d+)?)(?P=other)"
    r"\s*/?>",
    re.ASCII,
)
_LONGEST_TAG = 160  # what is longer goes to expat


def read_positions(tags: Texts) -> tuple[FloatArray, FloatArray]:
    """(n,) latitudes and longitudes [degree] as start tags give them; NaN where they do not.

    Raises
    ------
    UnusualError
        If a tag is not well-formed.
    """
    latitude, longitude = np.full((2, len(tags.starts)), np.nan)

    def read_alike(sample: str, which: IntArray) -> BoolArray | None:
        match = PLAIN_TAG.fullmatch(sample) if len(sample) <= _LONGEST_TAG else None
        if match is None:
            return None
        first, second = slice(*match.span("first")), slice(*match.span("second"))
        alike, table = same_shape(tags.table(which, len(sample)), sample, first, second)
        chosen = which[alike]
        one, other = (latitude, longitude) if match["one"] == "lat" else (longitude, latitude)
        one[chosen] = decimals_in(table[first], sample[first])
        other[chosen] = decimals_in(table[second], sample[second])
        return alike

    odd = shape_by_shape(tags, read_alike)
    given = attributes_of([tags.piece(index) for index in odd])
    latitude[odd] = [to_float(attributes.get("lat")) for attributes in given]
    longitude[odd] = [to_float(attributes.get("lon")) for attributes in given]
    return latitude, longitude
