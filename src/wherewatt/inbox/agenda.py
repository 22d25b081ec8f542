"""Which ride is due, and when: the state of each, without files or clocks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from wherewatt.inbox.drops import Drop
from wherewatt.inbox.settings import WatchSettings


class Phase(Enum):
    """How far a ride is."""

    WAITING = "waiting"
    IN_WORK = "in work"
    DONE = "done"
    UNUSABLE = "unusable"


@dataclass(slots=True)
class Entry:
    """A ride and how far it is.

    Parameters
    ----------
    drop : the ride as last seen.
    since_s : when it was first seen like this.
    due_s : when it may be begun.
    phase : how far it is.
    taken : the ride as it was when its work began.
    failures : how often its result could not be written.
    """

    drop: Drop
    since_s: float
    due_s: float
    phase: Phase = Phase.WAITING
    taken: Drop | None = None
    failures: int = 0


class Agenda:
    """The rides of a folder by name. Times are of one steady clock [s].

    What is asked for each ride that ends does not go through all rides, of which there may be many.

    Parameters
    ----------
    settings : how patient it is.
    last : results that come after others; one of them may have ended an earlier watch.
    """

    def __init__(self, settings: WatchSettings, last: frozenset[str] = frozenset()) -> None:
        self._settings = settings
        self._last = last
        self._entries: dict[str, Entry] = {}
        self._next: list[Entry] = []  # those found due, the first to begin at the end
        self.counts: Counter[Phase] = Counter()

    def update(self, drops: Iterable[Drop], now_s: float) -> list[Drop]:
        """Take over what lies in the folder now; a ride that changed has to settle again.

        Returns
        -------
        list of Drop
            The rides that are gone.
        """
        seen: dict[str, Entry] = {}
        for drop in drops:
            entry = self._entries.get(drop.name)
            if entry is None:
                entry = Entry(drop, now_s, self._settled_s(drop, now_s))
            elif entry.drop != drop:
                entry.drop, entry.since_s, entry.failures = drop, now_s, 0
                entry.due_s = self._settled_s(drop, now_s)
                if entry.phase is not Phase.IN_WORK:
                    entry.phase = Phase.WAITING
            seen[drop.name] = entry
        gone = [entry.drop for name, entry in self._entries.items() if name not in seen]
        self._entries = seen
        self.counts = Counter(entry.phase for entry in seen.values())
        self._next.clear()
        return gone

    def begin_next(self, now_s: float) -> Drop | None:
        """The ride to begin now, the longest unchanged first; None if none is due."""
        if not self._next:
            self._next = [
                entry
                for entry in self._entries.values()
                if entry.phase is Phase.WAITING and entry.due_s <= now_s
            ]
            self._next.sort(key=self._turn, reverse=True)
        if not self._next:
            return None
        entry = self._next.pop()
        entry.taken = entry.drop
        self._move(entry, Phase.IN_WORK)
        return entry.drop

    def is_current(self, drop: Drop) -> bool:
        """Whether a ride in work is still there as it was."""
        entry = self._entries.get(drop.name)
        return entry is not None and entry.drop == drop and drop.unchanged()

    def finish(self, drop: Drop) -> None:
        """A ride has its result."""
        self._end(drop, Phase.DONE)

    def give_up(self, drop: Drop) -> None:
        """A ride cannot be used as it is."""
        self._end(drop, Phase.UNUSABLE)

    def put_off(self, drop: Drop) -> None:
        """A ride has changed meanwhile: it has to settle again."""
        self._end(drop, Phase.WAITING)

    def retry(self, drop: Drop, now_s: float) -> None:
        """A result could not be written: try again later, and ever later."""
        if entry := self._end(drop, Phase.WAITING):
            wait_s = self._settings.first_retry_s * 2.0 ** min(entry.failures, 30)
            entry.due_s = now_s + min(wait_s, self._settings.last_retry_s)
            entry.failures += 1

    def is_hasty(self, drop: Drop, now_s: float) -> bool:
        """Whether a ride that seems cut short may still be growing; if so it waits longer."""
        patient_s = self._entries[drop.name].since_s + self._settings.patience_s
        if now_s >= patient_s:
            return False
        if entry := self._end(drop, Phase.WAITING):
            entry.due_s = patient_s
        return True

    def next_due_s(self) -> float:
        """When the next waiting ride is due; infinite if none waits [s]."""
        if self._next:
            return self._next[-1].due_s
        waiting = (e.due_s for e in self._entries.values() if e.phase is Phase.WAITING)
        return min(waiting, default=float("inf"))

    @property
    def drops(self) -> list[Drop]:
        """The rides as last seen."""
        return [entry.drop for entry in self._entries.values()]

    def _turn(self, entry: Entry) -> tuple[bool, float, str]:
        return entry.drop.result in self._last, entry.since_s, entry.drop.name

    def _settled_s(self, drop: Drop, now_s: float) -> float:
        """A file that a program seems to write under another name is given more time."""
        settings = self._settings
        return now_s + (settings.patience_s if drop.unfinished else settings.settle_s)

    def _end(self, drop: Drop, phase: Phase) -> Entry | None:
        """End the work on a ride; None if it is gone."""
        entry = self._entries.get(drop.name)
        if entry is not None and entry.taken == drop:
            entry.taken = None
            self._move(entry, phase if entry.drop == drop else Phase.WAITING)
        return entry

    def _move(self, entry: Entry, phase: Phase) -> None:
        self.counts[entry.phase] -= 1
        self.counts[phase] += 1
        entry.phase = phase
