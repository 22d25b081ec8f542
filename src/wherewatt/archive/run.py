"""An archive from beginning to end: what is left to do is dealt out, and what died is looked at."""

from __future__ import annotations

import contextlib
import json
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, CancelledError, Future, wait
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from wherewatt.archive.crew import Crew
from wherewatt.archive.holdings import ASIDE, Place, places_in, read_holdings
from wherewatt.archive.part_work import PartJob, PartMade, make_part, try_ride
from wherewatt.archive.plan import Plan, Wanted, make_plan
from wherewatt.archive.settings import ArchiveSettings
from wherewatt.archive.source import find_rides
from wherewatt.archive.store import Store, open_store
from wherewatt.errors import InputError, OutputError, Problem
from wherewatt.lock import only_user_of
from wherewatt.whole_file import PART_ENDING

HEAD_NAME = "_archive.json"
WHOLE = "whole"
_SCHEMA = "wherewatt/archive/1"

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Progress:
    """How far an archive is.

    Parameters
    ----------
    rides : how many there are.
    done : how many of them are in place.
    analysed : how many were analysed in this run.
    """

    rides: int
    done: int
    analysed: int


@dataclass(frozen=True, slots=True)
class Summary:
    """What an archive holds after a run.

    Parameters
    ----------
    rides : how many the source has.
    analysed : how many were analysed in this run, those that could not be used among them.
    failed : reasons by path of those that could not be used.
    """

    rides: int
    analysed: int
    failed: Mapping[str, str]


def archive_rides(
    source_url: str,
    out_url: str,
    settings: ArchiveSettings,
    crew: Crew,
    told: Callable[[Progress], None] = lambda _: None,
    *,
    is_moved: bool = False,
) -> Summary:
    """Make the tables of all rides in a folder; what is held already, and unchanged, stays.

    Parameters
    ----------
    source_url : the folder of rides, or its URL.
    out_url : where the tables go.
    settings : all that is configured.
    crew : who does the work.
    told : is told how far it is.
    is_moved : True if the rides of the archive now lie in another folder than before.

    Raises
    ------
    InputError
        If the source has no ride, the archive is of another source, or another process is at it.
    OutputError
        If the archive cannot be written; what was finished is kept.
    """
    source, out = open_store(source_url), open_store(out_url)
    with _alone_at(out):
        _open_head(source, out, is_moved)
        return _archived(source, out, settings, crew, told)


@contextlib.contextmanager
def _alone_at(out: Store) -> Iterator[None]:
    """Hold an archive that lies on this machine; in an object store there is nothing to hold."""
    if not out.is_local:
        yield
        return
    folder = Path(out.root)
    was_there = folder.exists()
    with contextlib.suppress(OSError):  # whoever writes there says why
        folder.mkdir(parents=True, exist_ok=True)
    try:
        with only_user_of(folder, "archive"):
            yield
    finally:
        if not was_there:
            with contextlib.suppress(OSError):  # it stays unless it is empty
                folder.rmdir()


def _archived(
    source: Store,
    out: Store,
    settings: ArchiveSettings,
    crew: Crew,
    told: Callable[[Progress], None],
) -> Summary:
    files = out.listing() if out.exists() else {}
    holdings = read_holdings(out, files)
    known = {path for rides in holdings.values() for path in rides}
    rides = find_rides(source, settings.key, known)
    plan = make_plan(rides, holdings)
    _write_head(source, out, is_whole=False)
    _set_aside(out, plan, files)
    jobs = [PartJob(source.full_url, out.full_url, settings, part) for part in plan.parts]
    failed = {path: held.reason for path, held in plan.current.items() if held.reason}
    done, analysed = len(plan.current), 0
    told(Progress(len(rides), done, analysed))
    for made in _made(jobs, crew):
        done, analysed = done + made.rides, analysed + made.analysed
        failed |= made.failed
        told(Progress(len(rides), done, analysed))
    out.remove(ASIDE.rstrip("/"))
    _write_head(source, out, is_whole=True)
    return Summary(len(rides), analysed, dict(sorted(failed.items())))


def _open_head(source: Store, out: Store, is_moved: bool) -> None:
    """Check that the archive, if there is one, is of this source."""
    head = read_head(out)
    if head is None or is_moved or head["source"] == source.full_url:
        return
    found, expected = f"an archive of {head['source']}", f"one of {source.full_url}"
    mend = "name another --out, or say --moved if that folder is now this one"
    raise InputError(Problem(out.url, "", found, expected, mend))


def read_head(out: Store) -> Mapping[str, str] | None:
    """What an archive says of itself; None if there is none.

    Raises
    ------
    InputError
        If it is not of this layout.
    """
    try:
        head = json.loads(out.read(HEAD_NAME))
        if head["schema"] == _SCHEMA:
            return {"source": str(head["source"]), "state": str(head["state"])}
        found = f"schema {head['schema']}"
    except FileNotFoundError:
        return None
    except (OSError, ValueError, KeyError, TypeError) as error:
        found = f"no head of an archive ({type(error).__name__}: {error})"
    mend = "delete the archive, it can be made again, or name another folder"
    raise InputError(Problem(out.url, HEAD_NAME, found, _SCHEMA, mend))


def _write_head(source: Store, out: Store, *, is_whole: bool) -> None:
    head = {
        "schema": _SCHEMA,
        "source": source.full_url,
        "state": WHOLE if is_whole else "in the making",
    }
    out.put_text(json.dumps(head, indent=1) + "\n", HEAD_NAME)


def _set_aside(out: Store, plan: Plan, files: Iterable[str]) -> None:
    """Take away what no reader may see: parts of an earlier cut, and what a kill left behind."""
    for place in plan.stale:
        aside = Place(place.part, is_aside=True)
        out.remove(aside.note)
        for name, to in zip(place.tables, aside.tables, strict=True):
            out.move(name, to)
        out.move(place.note, aside.note)
    for place in places_in(files):
        if not place.is_aside and place not in plan.places:
            for name in (*place.folders, place.note):
                out.remove(name)
    for name in files:
        if name.endswith(PART_ENDING):
            out.remove(name)


def _made(jobs: Iterable[PartJob], crew: Crew) -> Iterator[PartMade]:
    """Parts as they get made; those whose worker ended come last, one at a time."""
    suspects: list[PartJob] = []
    waiting, running = deque(jobs), dict[Future[PartMade], PartJob]()
    while waiting or running:
        while waiting and len(running) < crew.width():
            job = waiting.popleft()
            running[crew.executor.submit(make_part, job)] = job
        for future in wait(running, return_when=FIRST_COMPLETED).done:
            job = running.pop(future)
            try:
                yield _result(future)
            except crew.deaths:
                suspects.append(job)
    for job in suspects:
        yield _made_alone(job, crew)


def _made_alone(job: PartJob, crew: Crew) -> PartMade:
    """A part whose worker ended: again, and if need be without the rides that end it."""
    with contextlib.suppress(*crew.deaths):
        return _result(crew.executor.submit(make_part, job))
    new = [ride for ride in job.plan.rides if not ride.is_as_before]
    deadly = frozenset(ride.found.path for ride in new if _is_deadly(job, ride, crew))
    with contextlib.suppress(*crew.deaths):
        return _result(crew.executor.submit(make_part, replace(job, deadly=deadly)))
    # None alone, all together: what is new in this part has to wait for another run.
    deadly = frozenset(ride.found.path for ride in new)
    return _result(crew.executor.submit(make_part, replace(job, deadly=deadly)))


def _is_deadly(job: PartJob, ride: Wanted, crew: Crew) -> bool:
    alone = replace(job, plan=replace(job.plan, rides=(ride,)))
    try:
        _result(crew.executor.submit(try_ride, alone))
    except crew.deaths:
        return True
    return False


def _result(future: Future[T]) -> T:
    try:
        return future.result()
    except CancelledError as error:
        message = "the workers were lost; what was finished is kept: run it again to go on"
        raise OutputError(message) from error
    except OSError as error:  # what one ride's files did is in the tables; this is the worker's
        raise OutputError(f"a worker could not go on: {error.strerror or error}") from error
