"""What a watch says, and to whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from wherewatt.text import counted


@dataclass(frozen=True, slots=True)
class Status:
    """Where a watch is.

    Parameters
    ----------
    done, waiting, unusable : how many rides are so far.
    in_work : names of the rides in work.
    """

    done: int = 0
    waiting: int = 0
    unusable: int = 0
    in_work: tuple[str, ...] = ()


class Teller(Protocol):
    """Who is told what goes on."""

    def line(self, text: str) -> None:
        """Something happened; it stays to be read."""

    def status(self, status: Status) -> None:
        """Where the watch is now; often the same as before."""


def summary_line(status: Status) -> str:
    """Where a watch is, as a line of text."""
    problems = f"{counted(status.unusable, 'ride')} with a problem"
    return f"{status.done} reported, {status.waiting} waiting, {problems}"
