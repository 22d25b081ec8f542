"""When a ride is due; times are made up, the rules are those of `WatchSettings`."""

from __future__ import annotations

from pathlib import Path

import pytest

from wherewatt.inbox.agenda import Agenda, Phase
from wherewatt.inbox.drops import Drop, FileState
from wherewatt.inbox.settings import WatchSettings

SETTINGS = WatchSettings(settle_s=2.0, patience_s=10.0, first_retry_s=5.0, last_retry_s=15.0)


def drop(name: str = "a.gpx", size: int = 100, *others: str) -> Drop:
    states = tuple(FileState(it, size, 1, 1, 1) for it in (name, *others))
    return Drop(Path(name), name, states)


def test_settles_first() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 100.0)
    assert agenda.next_due_s() == 102.0
    assert agenda.begin_next(101.9) is None
    assert agenda.begin_next(102.0) == drop()
    assert agenda.begin_next(103.0) is None  # it is in work now


def test_each_growth_starts_the_wait_anew() -> None:
    agenda = Agenda(SETTINGS)
    for second in range(10):
        agenda.update([drop(size=second)], float(second))
        assert agenda.begin_next(float(second)) is None
    assert agenda.next_due_s() == 11.0


def test_looking_again_does_not() -> None:
    agenda = Agenda(SETTINGS)
    for second in range(5):
        agenda.update([drop()], float(second))
    assert agenda.next_due_s() == 2.0


def test_a_download_under_another_name_gets_more_time() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop("a.gpx", 0, "a.gpx.part")], 0.0)
    assert agenda.next_due_s() == 10.0


def test_done_once() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 0.0)
    begun = agenda.begin_next(2.0)
    assert begun
    agenda.finish(begun)
    agenda.update([drop()], 50.0)
    assert agenda.begin_next(100.0) is None
    assert agenda.counts[Phase.DONE] == 1


@pytest.mark.parametrize("end", ["finish", "give_up", "put_off"])
def test_changed_while_in_work_is_done_anew(end: str) -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 0.0)
    begun = agenda.begin_next(2.0)
    assert begun
    agenda.update([drop(size=200)], 3.0)
    assert agenda.begin_next(50.0) is None  # not twice at the same time
    assert not agenda.is_current(begun)
    getattr(agenda, end)(begun)
    assert agenda.begin_next(4.9) is None
    assert agenda.begin_next(5.0) == drop(size=200)


def test_gone_while_in_work() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 0.0)
    begun = agenda.begin_next(2.0)
    assert begun
    assert agenda.update([], 3.0) == [drop()]
    assert not agenda.is_current(begun)
    agenda.finish(begun)
    assert not agenda.counts.total()


def test_waits_ever_longer_for_a_disk() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 0.0)
    now_s, waits = 2.0, []
    for _ in range(4):
        begun = agenda.begin_next(now_s)
        assert begun
        agenda.retry(begun, now_s)
        waits.append(agenda.next_due_s() - now_s)
        now_s = agenda.next_due_s()
    assert waits == [5.0, 10.0, 15.0, 15.0]


def test_patience_with_what_seems_cut_short() -> None:
    agenda = Agenda(SETTINGS)
    agenda.update([drop()], 0.0)
    begun = agenda.begin_next(2.0)
    assert begun
    assert agenda.is_hasty(begun, 3.0)
    assert agenda.next_due_s() == 10.0
    assert agenda.begin_next(10.0) == begun
    assert not agenda.is_hasty(begun, 11.0)


def test_what_was_in_work_at_a_kill_comes_last() -> None:
    agenda = Agenda(SETTINGS, last=frozenset({"a"}))
    agenda.update([drop("a.gpx"), drop("b.gpx"), drop("c.gpx")], 0.0)
    order = [agenda.begin_next(5.0) for _ in range(3)]
    assert [it.name for it in order if it] == ["b.gpx", "c.gpx", "a.gpx"]


@pytest.mark.parametrize("setting", ["settle_s", "rescan_s", "jobs"])
@pytest.mark.parametrize("value", [0, -1, float("nan"), float("inf")])
def test_settings_are_above_zero(setting: str, value: float) -> None:
    with pytest.raises(ValueError, match=setting):
        WatchSettings(**{setting: value})
