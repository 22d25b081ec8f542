"""Which element of a track point holds which quantity."""

from __future__ import annotations

# By local name in lower case, at any depth within the point and in any namespace. Where a point
# has several for one quantity, the first holds, readable or not.
QUANTITY_OF = {
    "speed": "speed_m_s",
    "power": "rider_w",
    "powerinwatts": "rider_w",
    "cad": "cadence_rpm",
    "cadence": "cadence_rpm",
    "atemp": "temperature_c",
    "temp": "temperature_c",
    "temperature": "temperature_c",
    "distance": "odometer_m",
}
# By local name as GPX writes it; only as a child of the point itself.
CHILDREN = {"ele": "elevation_m", "time": "time"}


def column_of(local_name: str, *, is_child: bool) -> str | None:
    """Column that an element within a point fills; None if it is none of ours.

    Parameters
    ----------
    local_name : its name without a prefix.
    is_child : whether it is a child of the point, not of an element within.
    """
    if local_name in CHILDREN:
        return CHILDREN[local_name] if is_child else None
    return QUANTITY_OF.get(local_name.lower())
