"""The workers of a running Dask cluster."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from importlib.util import find_spec
from typing import Any

from wherewatt import __version__
from wherewatt.archive.crew import Crew
from wherewatt.errors import InputError, Problem

# Every thread has one part in work and one to go on with.
_IN_WORK_PER_THREAD = 2
_ANSWER_S = 15.0


@contextlib.contextmanager
def cluster_crew(scheduler: str) -> Iterator[Crew]:
    """Workers of the cluster that a scheduler leads.

    Parameters
    ----------
    scheduler : its address, such as ``tcp://10.0.0.7:8786``.

    Raises
    ------
    InputError
        If it does not answer, or its workers do not have this version of the package.
    """
    if find_spec("distributed") is None:
        mend = "pip install 'wherewatt[cluster]'"
        raise InputError(Problem(scheduler, "", "no distributed", "Dask's distributed", mend))
    from distributed import Client
    from distributed.scheduler import KilledWorker

    try:
        client = Client(scheduler, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, ImportError) as error:
        found = " ".join(str(error).split()) or "no answer"
        expected = "the address of a running Dask scheduler"
        raise InputError(Problem(scheduler, "", found, expected, "check --scheduler")) from error
    with client:
        _check_workers(client, scheduler)
        executor = client.get_executor(pure=False)

        def width() -> int:
            return _IN_WORK_PER_THREAD * max(sum(client.nthreads().values()), 1)

        try:
            yield Crew(executor, width, (KilledWorker,))
        except BaseException:
            executor.shutdown(wait=False)
            raise
        executor.shutdown()


def _check_workers(client: Any, scheduler: str) -> None:
    """All workers that are there now must have this version: the rows depend on it."""
    answers = client.run(_version, on_error="return")
    others = {str(answer) for answer in answers.values() if answer != __version__}
    if others:
        found = f"workers with {', '.join(sorted(others))}"
        mend = "install the same version on all of them"
        raise InputError(Problem(scheduler, "", found, f"wherewatt {__version__}", mend))


def _version() -> str:
    return __version__
