"""What does not fit together is said; what does is left in peace.

Simulated rides are those on which the thresholds were chosen. On all 36 of them (six characters,
seeds 1 to 6), each with call-outs alone, with sheet, with recharge and with a meter, none is
flagged; here a few are checked.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from tests.allocate.builders import CONFIG, make_evidence, make_shown
from tests.motion.builders import plain_ride
from tests.support.simulator import CHARACTERS, simulate
from wherewatt.allocate.accounts import Account, display_account, display_fall, handbook_account
from wherewatt.allocate.diagnostics import diagnose, doubtful_mass, misfit_chance
from wherewatt.allocate.estimate import estimate_ride
from wherewatt.ingest.sheet import RechargeSheet, RiderSheet, RideSheet
from wherewatt.pipeline import analyse
from wherewatt.report.result import RideResult
from wherewatt.terrain.tiles import TileFolder

SETTINGS = CONFIG.diagnostics
CODES = {
    "call-outs-contradict-track",
    "recharge-contradicts-capacity",
    "recharge-contradicts-sheet",
    "call-outs-contradict-sheet",
    "mass-in-pounds",
    "wind-far-off",
    "parameter-at-edge",
    "height-far-off",
}
POUND_KG = 0.45359237  # international avoirdupois pound (1959 agreement)


@dataclass(frozen=True)
class World:
    """Where simulated rides are written, beside the tile of their island."""

    folder: Path
    tiles: TileFolder

    def ride(self, character: str, seed: int, spoil: Callable[[Path], None]) -> RideResult:
        track = simulate(character, seed).write(self.folder, recharge=True)
        spoil(track)
        return analyse(track, self.tiles, CONFIG)


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> World:
    folder = tmp_path_factory.mktemp("island")
    simulate("city", 1).write_tile(folder)
    return World(folder, TileFolder((folder,)))


def codes(result: RideResult) -> set[str]:
    return {note.code for note in result.notes} & CODES


def in_sheet(table: str, key: str, change: Callable[[float], float]) -> Callable[[Path], None]:
    """Change a number of the ride sheet."""

    def spoil(track: Path) -> None:
        path = track.with_suffix(".toml")
        before, head, after = path.read_text(encoding="utf-8").partition(f"[{table}]")
        pattern = rf"(?m)^({key} = )([\d.]+)$"
        after, times = re.subn(
            pattern, lambda m: f"{m[1]}{change(float(m[2])):.1f}", after, count=1
        )
        assert head
        assert times
        path.write_text(before + head + after, encoding="utf-8")

    return spoil


def in_percent(change: Callable[[list[str]], list[str]]) -> Callable[[Path], None]:
    """Change the column of percent."""

    def spoil(track: Path) -> None:
        path = track.with_name(f"{track.stem}.readings.csv")
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        at = rows[0].index("battery_pct")
        for row, percent in zip(rows[1:], change([row[at] for row in rows[1:]]), strict=True):
            row[at] = percent
        text = "".join(",".join(row) + "\n" for row in rows)
        path.write_text(text, encoding="utf-8")

    return spoil


def half_on(percent: list[str]) -> list[str]:
    return percent[len(percent) // 2 :] + percent[: len(percent) // 2]


def pounds(track: Path) -> None:
    in_sheet("vehicle", "mass_kg", lambda mass: mass / POUND_KG)(track)
    in_sheet("rider", "mass_kg", lambda mass: mass / POUND_KG)(track)


def as_it_is(track: Path) -> None:
    """Nothing wrong."""


def too_little(nominal_wh: float) -> float:
    return 0.6 * nominal_wh


def turned(from_deg: float) -> float:
    return (from_deg + 180.0) % 360.0


@pytest.mark.parametrize("character", CHARACTERS)
@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_is_said_of_rides_as_they_are(world: World, character: str, seed: int) -> None:
    assert codes(world.ride(character, seed, as_it_is)) == set()


@pytest.mark.parametrize("character", ["commuter", "trail"])
@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        (in_sheet("vehicle", "battery_nominal_wh", too_little), "recharge-contradicts-capacity"),
        (in_percent(half_on), "call-outs-contradict-track"),
        (in_percent(lambda percent: percent[::-1]), "call-outs-contradict-track"),
        (pounds, "mass-in-pounds"),
    ],
    ids=["capacity", "shifted", "reversed", "pounds"],
)
def test_planted_faults_are_found(
    world: World, character: str, spoil: Callable[[Path], None], code: str
) -> None:
    assert code in codes(world.ride(character, 1, spoil))


def test_wind_from_the_wrong_side(world: World) -> None:
    """10 m/s, out and back; a third of windy rides tell it, a loop with few call-outs does not."""
    found = codes(world.ride("windy", 1, in_sheet("weather", "wind_from_deg", turned)))
    assert found == {"wind-far-off"}


def test_rising_call_outs_are_said_to_rise(world: World) -> None:
    result = world.ride("hilly", 1, in_percent(lambda percent: percent[::-1]))
    (note,) = (note for note in result.notes if note.code == "call-outs-contradict-track")
    assert "rise while energy is used" in note.message


@pytest.mark.parametrize("count", [3, 8, 20])
def test_chance_of_a_misfit_is_what_it_says(count: int) -> None:
    """Drawn residuals of Student's t: a chance below p comes up in p of the rides."""
    draws = np.random.default_rng(7).standard_t(4.0, size=(4000, count))
    chance = np.array([misfit_chance(row, 4.0) for row in draws])
    for level in (0.5, 0.1, 0.01):
        # binomial error of 4000 rides, 3 sd, and a fifth for the gamma approximation
        slack = 3.0 * np.sqrt(level * (1.0 - level) / 4000) + 0.2 * level
        assert np.mean(chance < level) == pytest.approx(level, abs=slack)


def test_moments_of_the_misfit() -> None:
    """Against SciPy's integrals over the density of Student's t, for one call-out."""
    t = stats.t(4.0)
    mean = t.expect(lambda x: 5.0 * np.log1p(x**2 / 4.0))
    square = t.expect(lambda x: (5.0 * np.log1p(x**2 / 4.0)) ** 2)
    at = 2.0 * np.sqrt(np.expm1(mean / 5.0))  # the residual with just the mean misfit
    expected = stats.gamma.sf(mean, mean**2 / (square - mean**2), scale=(square - mean**2) / mean)
    assert misfit_chance(np.array([at]), 4.0) == pytest.approx(expected, rel=1e-6)
    assert misfit_chance(np.empty(0), 4.0) == 1.0


def test_accounts_apart() -> None:
    """ln(1.4) over the hypotenuse of 3 and 4 %."""
    assert Account(140.0, 0.03).apart(Account(100.0, 0.04)) == pytest.approx(6.729, abs=1e-3)


@pytest.mark.parametrize(
    ("rider_kg", "doubtful"),
    [(None, False), (75.0, False), (115.0, False), (165.0, True), (230.0, True), (900.0, False)],
)
def test_pounds_for_kilograms(rider_kg: float | None, doubtful: bool) -> None:
    """75 kg are 165 lb and 104 kg are 230 lb; 900 is odd in any unit."""
    sheet = RideSheet(rider=RiderSheet(mass_kg=rider_kg))
    assert bool(doubtful_mass(sheet, CONFIG.priors, SETTINGS)) == doubtful


RIDE = plain_ride(duration_s=3600.0)
AT_S = np.arange(0.0, 3601.0, 300.0)


def test_fall_of_the_display() -> None:
    """40 points over the ride, of which the bend of the display hides or adds a few."""
    shown = make_shown(RIDE, AT_S, 95.0 - 40.0 * AT_S / 3600.0)
    estimate = estimate_ride(make_evidence(RIDE, shown=shown))
    fall = display_fall(estimate)
    assert fall is not None
    assert fall.points == pytest.approx(40.0, abs=2.0 * fall.sd)
    account = display_account(estimate, fall)
    assert account is not None
    assert account.wh == pytest.approx(400.0 * fall.points / 100.0)  # as the sheet states


@pytest.mark.parametrize("count", [0, 1, 2])
def test_few_call_outs_tell_no_fall(count: int) -> None:
    shown = make_shown(RIDE, AT_S[:count], np.full(count, 90.0))
    assert display_fall(estimate_ride(make_evidence(RIDE, shown=shown))) is None


def test_without_data_nothing_contradicts() -> None:
    assert diagnose(estimate_ride(make_evidence(RIDE)), SETTINGS) == []


@pytest.mark.parametrize("times", [0.3, 3.0])
def test_recharge_that_no_such_ride_takes(times: float) -> None:
    handbook = handbook_account(estimate_ride(make_evidence(RIDE)))
    assert handbook is not None
    meter = RechargeSheet(metered_wh=times * handbook.wh)
    notes = diagnose(estimate_ride(make_evidence(RIDE, recharge=meter)), SETTINGS)
    assert [note.code for note in notes] == ["recharge-contradicts-sheet"]


def test_heights_and_parameters_far_off() -> None:
    """Scores put where no ride should bring them."""
    estimate = estimate_ride(make_evidence(RIDE, shown=make_shown(RIDE, AT_S, 95.0 - AT_S / 120.0)))
    scores, told = estimate.solution.scores.copy(), estimate.solution.told.copy()
    drag = estimate.evidence.parameters.index["drag_area_m2"]
    scores[drag], told[drag, drag] = -3.0, 0.5
    rises = estimate.cell_energy.rise_modes
    scores[-rises.shape[1] :] = 4.0 * np.linalg.eigh(rises.T @ rises)[1][:, -1]
    solution = replace(estimate.solution, scores=scores, told=told)
    notes = diagnose(replace(estimate, solution=solution), SETTINGS)
    assert [note.code for note in notes] == ["parameter-at-edge", "height-far-off"]
    assert notes[0].message.startswith("the drag area came out at 0.338 m²")  # 0.58·exp(−3·0.18)
    told[drag, drag] = 0.9  # told next to nothing
    quiet = diagnose(replace(estimate, solution=solution), SETTINGS)
    assert [note.code for note in quiet] == ["height-far-off"]
