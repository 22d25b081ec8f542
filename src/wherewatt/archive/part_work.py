"""The making of one part, as a worker does it."""

from __future__ import annotations

import functools
import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path

from wherewatt.archive.holdings import Held, write_note
from wherewatt.archive.intake import Copy, copy_ride
from wherewatt.archive.part_files import HeldRows, PartFiles
from wherewatt.archive.plan import PartPlan, Wanted
from wherewatt.archive.rows import Rows, failure_rows, rows_of
from wherewatt.archive.settings import ArchiveSettings
from wherewatt.archive.store import Store, open_store
from wherewatt.errors import (
    OutputError,
    Problem,
    TerrainError,
    TrackError,
    WherewattError,
    display_name,
)
from wherewatt.pipeline import analyse, open_tiles
from wherewatt.terrain.tiles import TileFolder


@dataclass(frozen=True, slots=True)
class PartJob:
    """A part to be made; small enough to be sent to another machine.

    Parameters
    ----------
    source, out : URLs of the rides and of the archive.
    settings : all that is configured.
    plan : the part.
    deadly : paths of rides that ended the process that analysed them.
    """

    source: str
    out: str
    settings: ArchiveSettings
    plan: PartPlan
    deadly: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class PartMade:
    """What became of a part.

    Parameters
    ----------
    part : its name.
    rides : how many it has, those that could not be used among them.
    analysed : how many of them were read and analysed.
    failed : reasons by path of those that could not be used.
    """

    part: str
    rides: int
    analysed: int
    failed: dict[str, str]


@dataclass(slots=True)
class _Part:
    """A part in the making."""

    job: PartJob
    source: Store
    out: Store
    tiles: TileFolder
    kept: HeldRows
    folder: Path
    analysed: int = 0
    notes: dict[str, Held] = field(default_factory=dict)
    is_unchanged: bool = True


def make_part(job: PartJob) -> PartMade:
    """Make a part: rows that are held are taken over, all others are made.

    Raises
    ------
    WherewattError
        If it cannot be written, or the terrain folders are not there.
    """
    _keep_to_one_thread()
    with tempfile.TemporaryDirectory(prefix="wherewatt.") as name:
        part = _opened(job, Path(name))
        made = part.folder / "made"
        made.mkdir()
        with PartFiles(made) as files:
            for wanted in job.plan.rides:
                files.add(_rows(part, wanted))
            _put(part, files)
    failed = {path: held.reason for path, held in part.notes.items() if held.reason}
    return PartMade(job.plan.place.part, len(part.notes), part.analysed, failed)


def try_ride(job: PartJob) -> None:
    """Analyse the rides of a part and throw the results away, to see whether that ends the process.

    Raises
    ------
    WherewattError
        As `make_part`.
    """
    _keep_to_one_thread()
    with tempfile.TemporaryDirectory(prefix="wherewatt.") as name:
        part = _opened(job, Path(name))
        for wanted in job.plan.rides:
            _rows(part, wanted)


def _opened(job: PartJob, folder: Path) -> _Part:
    out = open_store(job.out)
    # Tiles are opened anew for each part: kept open, they would fill the memory in the end.
    tiles = open_tiles(job.settings.terrain, fetch=job.settings.fetch_terrain)
    return _Part(job, open_store(job.source), out, tiles, HeldRows(out), folder)


def _put(part: _Part, files: PartFiles) -> None:
    """Put the files in place, the note last; while there is none, the part does not count."""
    place = part.job.plan.place
    if not (part.is_unchanged and part.job.plan.is_same):
        part.out.remove(place.note)
        files.put(part.out, place)
    write_note(part.out, place, part.notes)


def _rows(part: _Part, wanted: Wanted) -> Rows:
    """Rows of a ride; what is held of it is noted."""
    path, look = wanted.found.path, wanted.found.look
    if wanted.is_as_before and (rows := _taken_over(part, wanted)) is not None:
        return rows
    if path in part.job.deadly:
        return _failed(part, wanted, Held("", "", str(_ended(path))))
    with tempfile.TemporaryDirectory(dir=part.folder) as name:
        try:
            copy = copy_ride(part.source, wanted.found, part.job.settings.key, Path(name))
        except TrackError as error:  # perhaps another time
            return _failed(part, wanted, Held("", "", str(error)))
        if wanted.held is not None and copy.content == wanted.held.content:
            again = replace(wanted, held=replace(wanted.held, look=look))
            if (rows := _taken_over(part, again)) is not None:
                return rows
        return _analysed(part, wanted, copy)


def _taken_over(part: _Part, wanted: Wanted) -> Rows | None:
    """Rows that are held; None if they cannot be read."""
    assert wanted.held is not None
    assert wanted.place is not None
    rows = part.kept.of(wanted.found.ride, wanted.place)
    if rows is not None:
        part.notes[wanted.found.path] = wanted.held
        part.is_unchanged &= wanted.place == part.job.plan.place
    return rows


def _analysed(part: _Part, wanted: Wanted, copy: Copy) -> Rows:
    found = wanted.found
    part.analysed += 1
    held = Held(copy.content, found.look)
    try:
        result = analyse(copy.track, part.tiles, part.job.settings.config)
        rows = rows_of(found.ride, found.path, result)
    except OutputError:
        raise
    except (TerrainError, MemoryError) as error:  # nothing is wrong with the ride
        return _failed(part, wanted, Held("", "", str(error) or "not enough memory"))
    except WherewattError as error:
        return _failed(part, wanted, replace(held, reason=str(error)))
    except Exception as error:  # one ride's surprise must not cost the others
        return _failed(part, wanted, replace(held, reason=str(_defect(found.path, error))))
    part.notes[found.path] = held
    part.is_unchanged = False
    return rows


def _failed(part: _Part, wanted: Wanted, held: Held) -> Rows:
    part.notes[wanted.found.path] = held
    part.is_unchanged = False
    return failure_rows(wanted.found.ride, wanted.found.path, held.reason)


def _defect(path: str, error: Exception) -> TrackError:
    found = f"{type(error).__name__}: {error}"
    mend = "this is a defect of wherewatt: please report it with what 'report --debug' prints"
    return TrackError(Problem(display_name(path), "", found, "no such error", mend))


def _ended(path: str) -> TrackError:
    found = "that its process was ended by the system, perhaps for want of memory"
    return TrackError(Problem(display_name(path), "", found, "a ride that can be analysed"))


@functools.cache
def _keep_to_one_thread() -> None:
    """Keep linear algebra to one thread: more would take the processors from other workers.

    Numbers then do not depend on how many processors there are.
    """
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1)
