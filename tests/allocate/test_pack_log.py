"""Energy that a battery logger measured, and what the estimate makes of it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests.motion.builders import make_track, plain_ride
from tests.support.simulator import SimulatedRide, simulate
from wherewatt.allocate.pack_log import pack_log_of
from wherewatt.config import load_config
from wherewatt.ingest.track import Track
from wherewatt.pipeline import analyse
from wherewatt.report.tables import sections_frame
from wherewatt.terrain.tiles import TileFolder

RIDE = plain_ride(duration_s=600.0)


def log(time_s: np.ndarray, volts: np.ndarray, amps: np.ndarray, *, shift_s: float = 0.0) -> Track:
    """A logger's recording without positions, whose clock begins `shift_s` after the ride."""
    missing = np.full(len(time_s), np.nan)
    return replace(
        make_track(time_s, np.zeros(len(time_s))),
        start_unix_ns=RIDE.start_unix_ns + round(shift_s * 1e9),
        latitude_deg=missing,
        longitude_deg=missing,
        battery_v=volts,
        battery_a=amps,
    )


def test_steady_power() -> None:
    time = np.arange(0.0, 601.0, 2.0)
    found = pack_log_of(log(time, np.full(len(time), 36.0), np.full(len(time), 5.0)), RIDE)
    assert found is not None
    # 36 V × 5 A = 180 W: 30 Wh in ten minutes
    assert found.between(np.array([0.0, 300.0, 600.0])) == pytest.approx([15.0, 15.0])


def test_gap_is_not_known() -> None:
    time = np.concatenate([np.arange(0.0, 200.0), np.arange(260.0, 601.0)])
    found = pack_log_of(log(time, np.full(len(time), 36.0), np.full(len(time), 5.0)), RIDE)
    assert found is not None
    first, gap, last = found.between(np.array([0.0, 150.0, 300.0, 600.0]))
    assert first == pytest.approx(36.0 * 5.0 * 150.0 / 3600.0)
    assert np.isnan(gap)
    assert last == pytest.approx(36.0 * 5.0 * 300.0 / 3600.0)


def test_log_of_part_of_the_ride() -> None:
    time = np.arange(0.0, 200.0)
    found = pack_log_of(
        log(time, np.full(len(time), 36.0), np.full(len(time), 5.0), shift_s=100.0), RIDE
    )
    assert found is not None
    before, within, after = found.between(np.array([0.0, 100.0, 290.0, 600.0]))
    assert np.isnan(before)
    assert within == pytest.approx(36.0 * 5.0 * 190.0 / 3600.0)
    assert np.isnan(after)


def test_other_sign_is_turned_round() -> None:
    time = np.arange(0.0, 601.0)
    found = pack_log_of(log(time, np.full(len(time), 36.0), np.full(len(time), -5.0)), RIDE)
    assert found is not None
    assert found.counted_wh[-1] == pytest.approx(30.0)
    assert [note.code for note in found.notes] == ["log-turned-round"]


def test_nothing_logged() -> None:
    time = np.arange(0.0, 601.0)
    missing = np.full(len(time), np.nan)
    assert pack_log_of(log(time, missing, missing), RIDE) is None
    volts = np.full(len(time), 36.0)
    assert pack_log_of(log(time, volts, volts, shift_s=90_000.0), RIDE) is None


def write_log(sim: SimulatedRide, path: Path) -> None:
    """The true battery power as a logger with a gain error of 0.5 % would have it, each second."""
    truth = sim.truth
    time = np.arange(0.0, truth.time_s[-1])
    counted = truth.cumulative_wh(truth.start_unix_s + np.append(time, time[-1] + 1.0))
    watts = np.diff(counted) * 3600.0 * 1.005
    stamps = (truth.start_unix_s + time + 0.5) * 1e9
    rows = [
        f"{np.datetime64(round(stamp), 'ns')}Z,48.0,{watt / 48.0:.4f}"
        for stamp, watt in zip(stamps, watts, strict=True)
    ]
    path.write_text("time,battery_v,battery_a\n" + "\n".join(rows) + "\n", encoding="utf-8")


@pytest.mark.parametrize(("character", "seed"), [("hilly", 2), ("city", 4), ("windy", 3)])
def test_sections_follow_the_log(character: str, seed: int, tmp_path: Path) -> None:
    """Simulated ride with known truth: a 1 % logger leaves at most 2 % on the wrong section."""
    sim = simulate(character, seed)
    track = sim.write(tmp_path)
    sim.write_tile(tmp_path)
    write_log(sim, tmp_path / f"{track.stem}.log.csv")
    result = analyse(track, TileFolder((tmp_path,)), load_config())
    frame = sections_frame(result)
    start, end = (
        frame[name].astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
        for name in ("start_time", "end_time")
    )
    truth = sim.truth.energy_wh_between(start, end)
    wrong = float(np.abs(frame["battery_wh"] - truth).sum()) / 2.0 / float(truth.sum())
    assert wrong < 0.02
    inside = (truth >= frame["battery_wh_low90"]) & (truth <= frame["battery_wh_high90"])
    assert inside.mean() > 0.8
    assert abs(result.ledger.total.mean / truth.sum() - 1.0) < 0.02
    assert "handbook-only" not in {note.code for note in result.notes}
