"""What is left to do: the rides of the source against what is held."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from wherewatt.archive.holdings import Held, Place, Rides
from wherewatt.archive.partition import cut, most_rides
from wherewatt.archive.source import Found


@dataclass(frozen=True, slots=True)
class Wanted:
    """A ride that a part is to have.

    Parameters
    ----------
    found : the ride.
    held : what is held of it; None if nothing is.
    place : where that lies.
    """

    found: Found
    held: Held | None = None
    place: Place | None = None

    @property
    def is_as_before(self) -> bool:
        """Whether it is held as it is now, as far as can be seen from outside."""
        held, look = self.held, self.found.look
        return held is not None and bool(held.content) and look == held.look != ""


@dataclass(frozen=True, slots=True)
class PartPlan:
    """A part that is to be made.

    Parameters
    ----------
    place : where.
    rides : what it is to hold, by path.
    is_same : whether it holds just these rides now, if perhaps not as they are.
    """

    place: Place
    rides: tuple[Wanted, ...]
    is_same: bool


@dataclass(frozen=True, slots=True)
class Plan:
    """What is left to do.

    Parameters
    ----------
    parts : those to be made.
    current : rides of the others, which stay as they are.
    places : of all parts that the archive is cut into.
    stale : parts that it is no longer cut into.
    """

    parts: tuple[PartPlan, ...]
    current: Rides
    places: frozenset[Place]
    stale: tuple[Place, ...]


def make_plan(rides: Iterable[Found], holdings: Mapping[Place, Rides]) -> Plan:
    """Cut the archive into parts, and see which of them are to be made.

    Parameters
    ----------
    rides : those of the source.
    holdings : what is held.
    """
    by_number = {found.ride: found for found in rides}
    cuts = cut(by_number, most_rides(len(by_number)))
    places = frozenset(Place(part.name) for part in cuts)
    held = _held(holdings, places)
    parts: list[PartPlan] = []
    current: dict[str, Held] = {}
    for part in cuts:
        place = Place(part.name)
        found = sorted((by_number[ride] for ride in part.rides), key=lambda ride: ride.path)
        wanted = tuple(Wanted(ride, *held.get(ride.path, (None, None))) for ride in found)
        now = holdings.get(place, {})
        is_same = now.keys() == {ride.path for ride in found}
        if is_same and all(ride.is_as_before for ride in wanted):
            current |= now
        else:
            parts.append(PartPlan(place, wanted, is_same))
    stale = (place for place in holdings if not place.is_aside and place not in places)
    return Plan(tuple(parts), current, places, tuple(sorted(stale)))


def _held(
    holdings: Mapping[Place, Rides], places: frozenset[Place]
) -> dict[str, tuple[Held, Place]]:
    """What is held of each ride, and where that will lie when stale parts are set aside.

    What is in place counts before what is aside.
    """
    held: dict[str, tuple[Held, Place]] = {}
    for place in sorted(holdings, key=lambda place: (place in places, not place.is_aside, place)):
        lies = place if place in places else Place(place.part, is_aside=True)
        held |= {path: (of, lies) for path, of in holdings[place].items()}
    return held
