"""The loop: looks, waits until files are whole, has results made and puts them in place."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path

from wherewatt.errors import OutputError, Problem
from wherewatt.inbox.agenda import Agenda, Phase
from wherewatt.inbox.drops import Drop, look_into
from wherewatt.inbox.events import Events
from wherewatt.inbox.job import Ending, Job, Outcome, Work
from wherewatt.inbox.problems import PROBLEM_ENDING, remove_problem, remove_strays, write_problem
from wherewatt.inbox.settings import WatchSettings
from wherewatt.inbox.shelf import Shelf
from wherewatt.inbox.stamp import track_of
from wherewatt.inbox.teller import Status, Teller
from wherewatt.inbox.worker import Worker


@dataclass(slots=True)
class Watcher:
    """A watch at work.

    Parameters
    ----------
    folder : the watched folder; an absolute path.
    shelf : the folder of results.
    work : how a result is made.
    settings : how patient the watch is.
    teller : who is told what goes on.
    """

    folder: Path
    shelf: Shelf
    work: Work
    settings: WatchSettings
    teller: Teller
    _agenda: Agenda = field(init=False)
    _workers: list[Worker] = field(init=False, default_factory=list)
    _events: Events | None = field(init=False, default=None)
    _key: str = field(init=False, default="")
    _look_due_s: float = field(init=False, default=0.0)
    _look_took_s: float = field(init=False, default=0.0)
    _troubles: frozenset[str] = field(init=False, default=frozenset())
    _told: dict[str, str] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._agenda = Agenda(self.settings, last=self.shelf.recover())

    @property
    def status(self) -> Status:
        """Where it is."""
        in_work = tuple(worker.drop.name for worker in self._workers if worker.drop)
        count = self._agenda.counts
        return Status(
            count[Phase.DONE], count[Phase.WAITING], count[Phase.UNUSABLE], tuple(sorted(in_work))
        )

    def run(self) -> None:
        """Watch until interrupted, or until all is done if that was asked for."""
        self._key = self.work.key
        self._workers = [Worker(self.work) for _ in range(self.settings.jobs)]
        if self.settings.events:
            self._events = Events(self.folder, self.shelf.out)
        if not self.settings.once:
            where = f"Watching {self.folder}; results go to {self.shelf.out}; Ctrl-C ends it."
            self.teller.line(where)
        self._look()
        remove_strays((drop.track for drop in self._agenda.drops), self._note_folders())
        while True:
            if time.monotonic() >= self._look_due_s:
                self._look()
            self._begin()
            status = self.status
            self.teller.status(status)
            if self.settings.once and not (status.waiting or status.in_work):
                return
            self._wait(self._pause_s())

    def finish_work(self) -> None:
        """Let the rides in work end, and begin no others."""
        if in_work := self.status.in_work:
            self.teller.line(f"Ending; first finishing {', '.join(in_work)} (Ctrl-C drops it).")
        while self.status.in_work:
            self._wait(None)

    def end(self) -> None:
        """End the workers; what they had in work is dropped."""
        if self._events:
            self._events.end()
        for worker in self._workers:
            worker.end()
            worker.drop = None
        self.shelf.recover()

    def _look(self) -> None:
        """See what lies in the folder."""
        began_s = time.monotonic()
        try:
            look = look_into(self.folder, self.shelf.out, self._owner)
        except OSError as error:
            troubles = frozenset(
                {f"{self.folder}: cannot be looked into: {error.strerror}; trying again"}
            )
        else:
            troubles = frozenset(look.troubles)
            for gone in self._agenda.update(look.drops, began_s):
                self._forget_problem(gone)  # on a track that is gone it would only puzzle
        for line in sorted(troubles - self._troubles):
            self.teller.line(line)
        self._troubles = troubles
        self._look_took_s = time.monotonic() - began_s
        self._look_due_s = began_s + self.settings.rescan_s
        # What is about to be read may still grow without a word from the system.
        self._look_soon(self._agenda.next_due_s() - self.settings.settle_s)

    def _look_soon(self, not_before_s: float = 0.0) -> None:
        """Look again soon, but do not spend all time with looking."""
        soon_s = time.monotonic() + max(self.settings.settle_s / 4.0, 5.0 * self._look_took_s)
        self._look_due_s = min(self._look_due_s, max(soon_s, not_before_s))

    def _pause_s(self) -> float:
        until_s = self._look_due_s
        if any(worker.drop is None for worker in self._workers):
            until_s = min(until_s, self._agenda.next_due_s())
        return max(0.0, until_s - time.monotonic())

    def _wait(self, longest_s: float | None) -> None:
        """Wait for events and outcomes, and deal with them."""
        by_pipe = {worker.pipe: worker for worker in self._workers if worker.drop}
        sources: list[Connection] = [*by_pipe]
        if self._events:
            sources.append(self._events.pipe)
        for ready in wait(sources, longest_s):
            if worker := by_pipe.get(ready):  # type: ignore[call-overload]
                self._take(worker)
            else:
                self._hear()

    def _hear(self) -> None:
        if self._events and (reason := self._events.take()):
            self.teller.line(
                f"No events from this folder ({reason}): "
                f"looking every {self.settings.rescan_s:g} s instead."
            )
            self._events = None
        self._look_soon()

    def _begin(self) -> None:
        """Give rides that are due to workers that have none."""
        for number, worker in enumerate(self._workers):
            if worker.drop is None and not worker.is_alive:
                worker = self._replace(number)
            while worker.drop is None and (drop := self._agenda.begin_next(time.monotonic())):
                if drop.rival:
                    self._refuse(drop, _second_of_its_name(drop))
                    continue
                try:
                    workshop = self.shelf.open_workshop(drop.result)
                except OutputError as error:
                    self._retry(drop, str(error))
                    continue
                target = self.shelf.out / drop.result
                worker.begin(drop, Job(drop.track, drop.inputs, workshop, target, self._key))

    def _take(self, worker: Worker) -> None:
        """Deal with what became of a worker's ride."""
        outcome, drop, job = worker.take(), worker.drop, worker.job
        assert drop is not None
        assert job is not None
        worker.drop = worker.job = None
        try:
            self._settle(drop, job, outcome or Outcome(Ending.UNUSABLE, _died(drop)))
        finally:
            self.shelf.drop(job.workshop)
        if outcome is None or worker.rides >= self.settings.rides_per_process:
            self._replace(self._workers.index(worker))

    def _replace(self, number: int) -> Worker:
        """A fresh worker instead of one that is dead, or has done enough."""
        self._workers[number].end()
        self._workers[number] = Worker(self.work)
        return self._workers[number]

    def _settle(self, drop: Drop, job: Job, outcome: Outcome) -> None:
        if not self._agenda.is_current(drop):
            self._agenda.put_off(drop)
            self._look_soon()
        elif outcome.ending is Ending.UNWRITTEN:
            self._retry(drop, outcome.text)
        elif outcome.ending is Ending.UNUSABLE:
            if not self._agenda.is_hasty(drop, time.monotonic()):
                self._refuse(drop, outcome.text)
        elif outcome.whole is False and self._agenda.is_hasty(drop, time.monotonic()):
            pass
        else:
            self._accept(drop, job, outcome)

    def _accept(self, drop: Drop, job: Job, outcome: Outcome) -> None:
        if outcome.ending is Ending.MADE:
            try:
                self.shelf.place(job.workshop)
            except OutputError as error:
                self._retry(drop, str(error))
                return
            self.teller.line(f"{drop.name}: {outcome.text}")
        self._forget_problem(drop)
        self._agenda.finish(drop)

    def _forget_problem(self, drop: Drop) -> None:
        remove_problem(drop.track, self._fallback(drop))
        self._told.pop(drop.name, None)

    def _refuse(self, drop: Drop, text: str) -> None:
        """Say beside the track what is wrong with it."""
        self._agenda.give_up(drop)
        write_problem(drop.track, text, self._fallback(drop))
        self._tell_once(drop, text)

    def _retry(self, drop: Drop, text: str) -> None:
        if self.settings.once:  # there is no later
            self._agenda.give_up(drop)
            self._tell_once(drop, text)
        else:
            self._agenda.retry(drop, time.monotonic())
            self._tell_once(drop, f"{text}; trying again later")

    def _tell_once(self, drop: Drop, text: str) -> None:
        if self._told.get(drop.name) != text:
            self._told[drop.name] = text
            for line in text.splitlines():
                self.teller.line(line)

    def _owner(self, result: str) -> str:
        return track_of(self.shelf.out / result)

    def _fallback(self, drop: Drop) -> Path:
        """Where a note goes that cannot be written beside its track."""
        return self.shelf.out / f"{drop.name}{PROBLEM_ENDING}"

    def _note_folders(self) -> set[Path]:
        return {self.folder} | {drop.track.parent for drop in self._agenda.drops}


def _second_of_its_name(drop: Drop) -> str:
    found = f"a second track of one name (after {drop.rival})"
    return Problem(drop.track.name, "", found, "one track per name", "rename one of them").line


def _died(drop: Drop) -> str:
    found = "that its process was ended by the system, perhaps for want of memory"
    return Problem(drop.track.name, "", found, "a ride that can be analysed").line
