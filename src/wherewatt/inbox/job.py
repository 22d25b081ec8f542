"""The making of one result, as a worker does it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Protocol

from wherewatt.errors import OutputError, Problem, TerrainError, TrackError, WherewattError
from wherewatt.inbox.shelf import NEW_NAME, sync_file
from wherewatt.inbox.stamp import make_stamp, put_stamp


@dataclass(frozen=True, slots=True)
class Made:
    """What a work says of a result.

    Parameters
    ----------
    line : the result in a few words.
    whole : False if the track seemed cut short.
    """

    line: str
    whole: bool = True


class Work(Protocol):
    """How a result is made; it is sent to another process."""

    @property
    def key(self) -> str:
        """Hash of all that is configured: when it changes, results are made anew."""

    def __call__(self, track: Path, folder: Path) -> Made:
        """Make the result of a track in a folder, which is not there yet.

        Raises
        ------
        WherewattError
            If the track cannot be used, or the result not written.
        """


@dataclass(frozen=True, slots=True)
class Job:
    """One result to be made.

    Parameters
    ----------
    track : the track.
    inputs : names of its files, which lie beside each other.
    workshop : folder to make it in.
    target : folder that it belongs to; if it is there already, nothing is done.
    settings : hash of all that is configured.
    """

    track: Path
    inputs: tuple[str, ...]
    workshop: Path
    target: Path
    settings: str


class Ending(Enum):
    """How a job ended."""

    MADE = "made"
    SAME = "there already"
    UNUSABLE = "the ride cannot be used"
    UNWRITTEN = "it may work later"


@dataclass(frozen=True, slots=True)
class Outcome:
    """How a job ended, and what is to be said of it."""

    ending: Ending
    text: str = ""
    whole: bool = True


def do_job(work: Work, job: Job) -> Outcome:
    """Make a result in its workshop, unless it is there already; nothing is raised."""
    try:
        return _make(work, job)
    except (OutputError, TerrainError) as error:  # nothing is wrong with the ride
        return Outcome(Ending.UNWRITTEN, str(error))
    except WherewattError as error:
        return Outcome(Ending.UNUSABLE, str(error))
    except OSError as error:
        return Outcome(Ending.UNWRITTEN, f"{job.target}: {error.strerror or error}")
    except Exception as error:  # one ride's surprise must not cost the others
        return Outcome(Ending.UNUSABLE, str(_defect(job.track, error)))


def _make(work: Work, job: Job) -> Outcome:
    stamp = make_stamp(job.track, job.inputs, job.settings)
    if stamp.is_on(job.target):
        return Outcome(Ending.SAME)
    folder = job.workshop / NEW_NAME
    made = work(job.track, folder)
    put_stamp(stamp, folder)
    for path in (*folder.iterdir(), folder, job.workshop):
        sync_file(path)
    return Outcome(Ending.MADE, made.line, made.whole)


def _defect(track: Path, error: Exception) -> TrackError:
    found = f"{type(error).__name__}: {error}"
    mend = "this is a defect of wherewatt: please report it with what 'report --debug' prints"
    return TrackError(Problem(track.name, "", found, "no such error", mend))
