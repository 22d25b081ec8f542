"""The verb that predicts rides."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.outlook.test_plans import write_route
from tests.support.simulator import simulate
from wherewatt.cli import main

SCOOTER = ("--vehicle", "e-scooter", "--battery-wh", "500")
ASPHALT = ("--surface", "asphalt")


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A folder with one ride of an invented vehicle, and the vehicle's name."""
    folder = tmp_path_factory.mktemp("rides")
    ride = simulate("commuter", 31, garage=4)
    track, shelf = ride.write(folder, metered=True), folder / "library"
    out = folder / "reports"
    assert main(["report", str(track), "--out", str(out), "--library", str(shelf)]) == 0
    return shelf, ride.sheet.vehicle_name


@pytest.fixture
def route(tmp_path: Path) -> Path:
    """A level way of 11.1 km to the north."""
    return write_route(tmp_path / "r.gpx", [(45.0, 7.0), (45.1, 7.0)])


def numbers(path: Path) -> dict[str, float]:
    """Some medians of a written prediction."""
    content = json.loads(path.read_text(encoding="utf-8"))
    return {
        "wh_per_km": content["wh_per_km"]["median"],
        "range": content["range"]["full_charge_km"]["median"],
        "width": content["wh_per_km"]["high90"] / content["wh_per_km"]["low90"],
        "rider": content["asked"]["rider_mass_kg"],
    }


def predicted(tmp_path: Path, *arguments: str) -> dict[str, float]:
    path = tmp_path / "prediction.json"
    assert main(["predict", *arguments, "--json", str(path)]) == 0
    return numbers(path)


def test_a_handbook_kind_on_the_reference_ride(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", *SCOOTER]) == 0
    out = capsys.readouterr().out
    assert out.startswith("e-scooter: a full charge goes ")
    assert "no ride of this vehicle is known" in out
    assert "not a promise" in out


def test_a_known_vehicle_is_known_better(
    library: tuple[Path, str], route: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, vehicle = library
    known = predicted(
        tmp_path, "--vehicle", vehicle, "--library", str(folder), str(route), *ASPHALT
    )
    out = " ".join(capsys.readouterr().out.split())
    assert f"starts from what 1 ride of {vehicle} said" in out
    assert "At the end of 11.1 km there is " in out
    guessed = predicted(tmp_path, *SCOOTER, str(route), *ASPHALT)
    assert known["width"] < guessed["width"]
    assert known["rider"] == pytest.approx(
        simulate("commuter", 31, garage=4).sheet.rider_mass_kg, abs=1
    )


@pytest.mark.parametrize(
    ("metric", "imperial"),
    [
        (("--rider-kg", "90.718474"), ("--rider-lb", "200")),
        (("--top-speed-kmh", "32.18688"), ("--top-speed-mph", "20")),
        (("--wind-speed-m-s", "4.4704"), ("--wind-speed-mph", "10")),
        (("--temperature-c", "10"), ("--temperature-f", "50")),
    ],
)
def test_other_units(metric: tuple[str, ...], imperial: tuple[str, ...], tmp_path: Path) -> None:
    """A pound is 0.45359237 kg and a mile 1.609344 km (exact, by definition)."""
    first, second = (predicted(tmp_path, *SCOOTER, *each) for each in (metric, imperial))
    assert first == pytest.approx(second)


def test_conditions_change_the_answer(tmp_path: Path) -> None:
    usual = predicted(tmp_path, *SCOOTER)["wh_per_km"]
    for option in (
        ("--rider-kg", "110"),
        ("--top-speed-kmh", "32"),
        ("--stops-per-km", "4"),
        ("--surface", "gravel"),
        ("--wind-speed-m-s", "8"),
        ("--temperature-c", "-5"),
    ):
        assert predicted(tmp_path, *SCOOTER, *option)["wh_per_km"] > 1.01 * usual, option


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--vehicle", "e-scoter"), "did you mean 'e-scooter'?"),
        ((*SCOOTER, "--surface", "gravle"), "did you mean 'gravel'?"),
        ((*SCOOTER, "--battery", "15", "--reserve", "20"), "--reserve: found 20 %"),
        ((*SCOOTER, "--battery", "5"), "--reserve: found 10 %"),
        ((*SCOOTER, "--top-speed-kmh", "3"), "walking pace"),
        ((*SCOOTER, "no_such.gpx"), "no_such.gpx"),
        ((*SCOOTER, "--terrain", "no_such_folder", "{route}"), "no such folder"),
        ((*SCOOTER, "--battery", "20", "{route}"), "a course of 11.1 km"),
        ((*SCOOTER, "--reference", "no_such.toml"), "no_such.toml"),
        ((*SCOOTER, "--json", "no_such_folder/p.json"), "no_such_folder"),
    ],
)
def test_what_cannot_be_is_said_in_one_line(
    arguments: tuple[str, ...], said: str, route: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    full = [each.format(route=route) for each in arguments]
    assert main(["predict", *full]) == 1
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    assert said in lines[0]


@pytest.mark.parametrize("value", ["-5", "nan", "inf", "200"])
def test_numbers_out_of_bounds(value: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["predict", *SCOOTER, "--battery", value])
    assert caught.value.code == 2
    assert "expected a number from 0 to 100" in capsys.readouterr().err


def test_markdown(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["predict", *SCOOTER, "--format", "md", "--units", "mi"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("**e-scooter: a full charge goes ")
    assert "| 10 kg more |" in out
