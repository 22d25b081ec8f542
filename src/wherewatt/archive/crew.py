"""Who does the work: any executor, with what there is to know of it."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor
from dataclasses import dataclass

from wherewatt.archive.lanes import Lanes


@dataclass(frozen=True, slots=True)
class Crew:
    """An executor of the standard interface.

    Parameters
    ----------
    executor : who does the work.
    width : tells how many pieces to have in work at once.
    deaths : errors by which it says that the process of a worker has ended.
    """

    executor: Executor
    width: Callable[[], int]
    deaths: tuple[type[BaseException], ...] = (BrokenExecutor,)


@contextlib.contextmanager
def process_crew(count: int) -> Iterator[Crew]:
    """Processes of this machine.

    Parameters
    ----------
    count : how many.
    """
    lanes = Lanes(count)
    try:
        yield Crew(lanes, lambda: count)
    except BaseException:
        lanes.shutdown(wait=False)
        raise
    lanes.shutdown()
