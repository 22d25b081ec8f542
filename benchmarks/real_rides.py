"""How right the estimate is on measured trips of others.

    python -m benchmarks.real_rides [--data FOLDER]

Trip by trip, each left out once: the drop in percent of the display, predicted

- per km: by the other trips' percent per kilometre;
- handbook: by this model before any ride;
- pool: by this model with what a library of the other trips says of the vehicle;
- joint: by this model with one search over the other trips, which may differ as wholes.

Of the call-outs of the trip that is predicted only the first is looked at. "WAPE" is the sum of
the absolute errors over the sum of the drops; "in 90 %" the share of trips whose drop lies in its
interval.

Within a drive: whole percent every 5 km is all that is told, and the energy of each kilometre is
compared with the percent in fine steps. "Wrong" is the share of the energy on the wrong kilometre:
half the sum of absolute errors, each way scaled to the same total. By hand shares the drop by
distance.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks import dublin, twizy
from benchmarks.joint import learn
from benchmarks.measured import MeasuredTrip
from benchmarks.pooling import Drop, handbook, pool_of, predict_drop
from wherewatt.allocate.ledger import Z90
from wherewatt.allocate.problem import RideProblem
from wherewatt.arrays import FloatArray
from wherewatt.config import load_config
from wherewatt.motion.geodesy import leg_lengths
from wherewatt.report.result import RideResult
from wherewatt.units import JOULES_PER_WATT_HOUR

SHARED_DATA = Path(__file__).parents[2] / "shared" / "data"
CALL_OUT_EVERY_M = 5000.0


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """Drops of trips, each predicted from the others.

    Parameters
    ----------
    names : the trips.
    shown : (trips,) as the display showed them [points].
    per_km : (trips,) by percent per kilometre [points].
    by_model : predictions of the model, by way.
    ride_spreads : how far the other trips differ as wholes, by trip (joint) [1].
    """

    names: tuple[str, ...]
    shown: FloatArray
    per_km: FloatArray
    by_model: dict[str, tuple[Drop, ...]]
    ride_spreads: tuple[float, ...]

    def means(self, way: str) -> FloatArray:
        """(trips,) predicted drops [points]."""
        return np.array([drop.mean for drop in self.by_model[way]])


@dataclass(frozen=True, slots=True)
class WithinDrive:
    """Share of a drive's energy on the wrong kilometre, by way [1]."""

    name: str
    kilometres: int
    by_hand: float
    handbook: float
    report: float


def report_trips(trips: Sequence[MeasuredTrip]) -> list[RideResult]:
    """Every trip as a user would report it, with a call-out at each new percent."""
    config = load_config()
    with tempfile.TemporaryDirectory() as name:
        return [trip.analyse(Path(name), trip.whole_changes(), config) for trip in trips]


def forecast(trips: Sequence[MeasuredTrip], results: Sequence[RideResult]) -> Forecast:
    """Predict every trip's drop from the others."""
    shown = np.array([trip.drop for trip in trips])
    km = np.array([recorded_km(trip) for trip in trips])
    numbers = range(len(trips))
    others = [[number for number in numbers if number != left] for left in numbers]
    estimates = [result.estimate for result in results]
    evidence = [estimate.evidence for estimate in estimates]
    joint = [learn([evidence[number] for number in rest]) for rest in others]
    known = {
        "handbook": [handbook(one) for one in evidence],
        "pool": [
            pool_of([estimates[number] for number in rest], one)
            for rest, one in zip(others, evidence, strict=True)
        ],
        "joint": joint,
    }
    return Forecast(
        names=tuple(trip.name for trip in trips),
        shown=shown,
        per_km=np.array([shown[rest].sum() / km[rest].sum() for rest in others]) * km,
        by_model={way: tuple(map(predict_drop, evidence, known[way])) for way in known},
        ride_spreads=tuple(one.ride_spread for one in joint),
    )


def recorded_km(trip: MeasuredTrip) -> float:
    """Length between the recorded positions as they are [km]."""
    place = trip.log[["latitude_deg", "longitude_deg"]].dropna().to_numpy()
    return float(leg_lengths(place[:, 0], place[:, 1]).sum()) / 1000.0


def within_drive(trip: MeasuredTrip) -> WithinDrive:
    """Compare the kilometres of one drive with its fine percent."""
    way = trip.counted_m()
    marks = np.arange(0.0, way[-1], CALL_OUT_EVERY_M)
    points = np.unique([*np.searchsorted(way, marks), len(way) - 1])
    with tempfile.TemporaryDirectory() as name:
        result = trip.analyse(Path(name), points, load_config())
    ride = result.ride
    edge_m = np.arange(0.0, ride.distance_m[-1], 1000.0)
    edge_s = ride.time_at_distance(edge_m)
    truth = -np.diff(np.interp(edge_s, trip.time_s, trip.percent))
    shown = result.estimate.evidence.shown
    by_hand = -np.diff(np.interp(edge_m, shown.distance_m, shown.percent))
    handbook_wh, report_wh = (
        np.diff(np.interp(edge_s, ride.time_s, np.concatenate([[0.0], np.cumsum(leg_wh)])))
        for leg_wh in (_handbook_legs(result), result.ledger.leg_wh.sum(axis=0))
    )
    wrong = [_share_wrong(energy, truth) for energy in (by_hand, handbook_wh, report_wh)]
    return WithinDrive(trip.name, len(truth), *wrong)


def _handbook_legs(result: RideResult) -> FloatArray:
    """(n−1,) energy of the legs at the priors' centers [Wh]."""
    problem = RideProblem(result.estimate.evidence)
    center = np.zeros(problem.unknowns)
    return problem.at(center, problem.load_at(center)).loads.battery_j / JOULES_PER_WATT_HOUR


def _share_wrong(energy: FloatArray, truth: FloatArray) -> float:
    return float(np.abs(energy / energy.sum() - truth / truth.sum()).sum()) / 2.0


def errors(predicted: FloatArray, shown: FloatArray) -> tuple[float, float, float]:
    """MAE, RMSE [points] and WAPE [1]."""
    error = predicted - shown
    mae, rmse = np.mean(np.abs(error)), np.sqrt(np.mean(np.square(error)))
    return float(mae), float(rmse), float(np.abs(error).sum() / shown.sum())


def coverage(drops: Sequence[Drop], shown: FloatArray) -> float:
    """Share of the drops that lie in their 90 % interval."""
    inside = [
        abs(drop.mean - true) <= Z90 * drop.sd for drop, true in zip(drops, shown, strict=True)
    ]
    return float(np.mean(inside))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--data", type=Path, default=SHARED_DATA, help="folder of the data sets")
    folder = parser.parse_args().data
    drives = twizy.read_trips(folder / "twizy_rsk")
    for title, trips in (
        ("e-scooter, short trips", dublin.read_trips(folder / "dublin_escooter")),
        ("quadricycle, long drives", drives),
    ):
        print_forecast(title, forecast(trips, report_trips(trips)))
    print("quadricycle, share of energy on the wrong kilometre [%]")
    print(f"{'':18}{'by hand':>10}{'handbook':>10}{'report':>10}{'km':>6}")
    for drive in map(within_drive, drives):
        ways = (drive.by_hand, drive.handbook, drive.report)
        print(f"{drive.name:18}" + "".join(f"{100.0 * way:10.1f}" for way in ways), end="")
        print(f"{drive.kilometres:6d}")


def print_forecast(title: str, made: Forecast) -> None:
    """Every trip, then the errors of each way."""
    ways = tuple(made.by_model)
    print(f"{title}: drop of the display [points]")
    print(f"{'':18}{'shown':>8}{'per km':>8}" + "".join(f"{way:>14}" for way in ways))
    for number, name in enumerate(made.names):
        print(f"{name:18}{made.shown[number]:8.1f}{made.per_km[number]:8.1f}", end="")
        drops = (made.by_model[way][number] for way in ways)
        print("".join(f"{drop.mean:8.1f} ± {drop.sd:3.1f}" for drop in drops))
    print(f"{'':18}{'MAE':>8}{'RMSE':>8}{'WAPE %':>8}{'in 90 %':>9}")
    for way in ("per km", *ways):
        predicted = made.per_km if way == "per km" else made.means(way)
        mae, rmse, wape = errors(predicted, made.shown)
        inside = (
            "" if way == "per km" else f"{100.0 * coverage(made.by_model[way], made.shown):9.0f}"
        )
        print(f"{way:18}{mae:8.2f}{rmse:8.2f}{100.0 * wape:8.1f}{inside}")
    print(f"rides differ as wholes by {np.median(made.ride_spreads):.2f} (log), as the others tell")
    print()


if __name__ == "__main__":
    main()
