"""Surface and structure of each leg, from hand tags, tagged places, or nothing."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from wherewatt.arrays import IntArray
from wherewatt.errors import Problem, SideFileError
from wherewatt.ingest.tags import SurfaceTag
from wherewatt.motion.locate import Locator
from wherewatt.motion.ride import Ride

UNTAGGED = "untagged"
END_REACH_M = 60.0  # distances are spoken to a tenth of a kilometre or mile


@dataclass(frozen=True, slots=True)
class TimedTag:
    """A hand tag in the ride's own time [s]."""

    start_s: float
    end_s: float
    surface: str
    structure: str


def timed_tags(tags: Sequence[SurfaceTag], locator: Locator, source: str) -> tuple[TimedTag, ...]:
    """Hand tags placed on the ride, in the order of the file.

    Raises
    ------
    SideFileError
        If tags lie outside the ride, run backwards or overlap; one problem per line.
    """
    problems: list[Problem] = []
    placed: list[tuple[TimedTag, int]] = []
    for tag in tags:
        try:
            start, end = locator.time_s(tag.start), locator.time_s(tag.end)
        except ValueError as error:
            found = f"a tag from {tag.start.text} to {tag.end.text}"
            problems.append(Problem(source, f"line {tag.line}", found, str(error)))
            continue
        if end <= start:
            found = f"a tag from {tag.start.text} to {tag.end.text}, which is not forward"
            problems.append(Problem(source, f"line {tag.line}", found, "from before to"))
            continue
        placed.append((TimedTag(start, end, tag.surface, tag.structure), tag.line))
    problems += _overlaps(placed, source)
    if problems:
        raise SideFileError(*problems)
    return tuple(_to_ends([tag for tag, _ in placed], locator.ride))


def _to_ends(tags: list[TimedTag], ride: Ride) -> list[TimedTag]:
    """The tags, the first and last of them drawn out to the ride's own ends if those are near.

    Nobody calls out the last twenty metres.
    """
    if not tags:
        return tags
    total = float(ride.distance_m[-1])
    first = min(range(len(tags)), key=lambda index: tags[index].start_s)
    if np.interp(tags[first].start_s, ride.time_s, ride.distance_m) <= END_REACH_M:
        tags[first] = replace(tags[first], start_s=0.0)
    last = max(range(len(tags)), key=lambda index: tags[index].end_s)
    if np.interp(tags[last].end_s, ride.time_s, ride.distance_m) >= total - END_REACH_M:
        tags[last] = replace(tags[last], end_s=float(ride.time_s[-1]))
    return tags


def _overlaps(placed: list[tuple[TimedTag, int]], source: str) -> list[Problem]:
    problems = []
    for attribute in ("surface", "structure"):
        named = sorted(
            ((tag, line) for tag, line in placed if getattr(tag, attribute)),
            key=lambda pair: pair[0].start_s,
        )
        for (before, line_before), (after, line_after) in itertools.pairwise(named):
            if after.start_s < before.end_s - 0.5:
                found = f"a {attribute} tag that overlaps the one in line {line_before}"
                problems.append(
                    Problem(source, f"line {line_after}", found, "tags that do not overlap")
                )
    return problems


def label_legs(
    ride: Ride, tags: Sequence[TimedTag], attribute: str, names: Sequence[str]
) -> IntArray:
    """(n−1,) place among the names of what tags say of each leg; 0 where they say nothing.

    Parameters
    ----------
    ride : the ride, split at the tags' edges.
    tags : tags that do not overlap.
    attribute : "surface" or "structure".
    names : all that tags may say; the first stands for nothing.
    """
    middle = (ride.time_s[1:] + ride.time_s[:-1]) / 2.0
    edges = [(tag.start_s, tag.end_s) for tag in tags]
    number = np.zeros(len(middle), dtype=np.intp)
    for tag, (first, end) in zip(tags, np.searchsorted(middle, edges).tolist(), strict=True):
        if name := getattr(tag, attribute):
            number[first:end] = names.index(name)
    return number
