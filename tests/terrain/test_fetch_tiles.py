"""Tiles from the network, with a fake in its place: whole or not at all, and failures told once."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import requests
import srtm.data

from tests.terrain.tile_files import tile_bytes
from wherewatt.errors import TerrainError
from wherewatt.terrain.fetch import TileFetcher
from wherewatt.terrain.hgt import VOID
from wherewatt.terrain.tiles import TileFolder

NAME = "N46E007.hgt"


def zipped(content: bytes, name: str = NAME) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(name, content)
    return packed.getvalue()


def spoiled(content: bytes) -> bytes:
    """Turn one byte over in the middle of an archive's data."""
    return content[:1000] + bytes([content[1000] ^ 0xFF]) + content[1001:]


@dataclass
class FakeNetwork:
    """Answers in place of the HTTP library, in turn; the last for ever."""

    answers: list[Any]
    asked: list[str] = field(default_factory=list)

    def get(self, url: str, timeout: float) -> Any:
        self.asked.append(url.rsplit("/", 1)[1])
        answer = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        if isinstance(answer, Exception):
            raise answer
        response = requests.Response()
        response.status_code, response._content = answer
        return response


@pytest.fixture
def network(monkeypatch: pytest.MonkeyPatch) -> FakeNetwork:
    fake = FakeNetwork([(200, zipped(tile_bytes(431)))])
    monkeypatch.setattr(srtm.data.mod_requests, "get", fake.get)
    return fake


def test_a_tile_comes_once_and_is_kept_flat(
    tmp_path: Path, network: FakeNetwork, capsys: pytest.CaptureFixture[str]
) -> None:
    fetcher = TileFetcher(tmp_path / "cache")
    tiles = TileFolder((), fetcher)
    place = np.array([46.25, 46.75]), np.array([7.5, 7.75])
    assert tiles.sample(*place).tolist() == [431.0, 431.0]
    assert [path.name for path in (tmp_path / "cache").iterdir()] == [NAME]
    assert fetcher(46, 7) == tmp_path / "cache" / NAME
    assert network.asked == [f"{NAME}.zip"]
    assert capsys.readouterr() == ("", "")


def test_the_sea_is_no_error(tmp_path: Path, network: FakeNetwork) -> None:
    """N44W030 is open ocean: SRTM.py's list has no such tile."""
    assert TileFetcher(tmp_path)(44, -30) is None
    assert network.asked == []


@pytest.mark.parametrize(
    ("answer", "found"),
    [
        ((200, zipped(tile_bytes(1)[:-2])), "2884800 bytes"),
        ((200, zipped(np.full((1201, 1201), VOID, ">i2").tobytes())), "100 % voids"),
        ((200, zipped(tile_bytes(1))[:900]), "a damaged archive (BadZipFile)"),
        ((200, spoiled(zipped(tile_bytes(1)))), "a damaged archive"),
        ((200, b"<html>not a tile</html>"), "a damaged archive (BadZipFile)"),
        ((200, b""), "an empty answer"),
        ((404, b"gone"), "no answer (Exception)"),
    ],
)
def test_a_bad_tile_is_refused_and_leaves_nothing(
    tmp_path: Path, network: FakeNetwork, answer: tuple[int, bytes], found: str
) -> None:
    network.answers = [answer]
    fetcher = TileFetcher(tmp_path)
    for _ in range(3):
        with pytest.raises(TerrainError) as caught:
            fetcher(46, 7)
        line = str(caught.value)
        assert line.startswith("N46E007.hgt: ")
        assert found in line
        assert "\n" not in line
    assert list(tmp_path.iterdir()) == []
    assert len(network.asked) == 1
    network.answers = [(200, zipped(tile_bytes(5), "N46E008.hgt"))]
    assert fetcher(46, 8) is not None


@pytest.mark.parametrize("error", [requests.ConnectionError("no route"), requests.ReadTimeout()])
def test_offline_is_found_out_once(
    tmp_path: Path, network: FakeNetwork, error: requests.RequestException
) -> None:
    network.answers = [error]
    tiles = TileFolder((), TileFetcher(tmp_path))
    for east in (7.5, 8.5, 9.5):
        with pytest.raises(TerrainError, match=r"--fetch-terrain: found no answer .*go online"):
            tiles.sample(np.array([46.25]), np.array([east]))
    assert len(network.asked) == 1
    assert list(tmp_path.iterdir()) == []


def test_no_room_for_the_tile(
    tmp_path: Path, network: FakeNetwork, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Path, data: bytes) -> int:
        self.touch()
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(TerrainError, match="No space left on device"):
        TileFetcher(tmp_path)(46, 7)
    assert list(tmp_path.iterdir()) == []


def test_what_is_kept_already_is_not_fetched(tmp_path: Path, network: FakeNetwork) -> None:
    path = tmp_path / "N46" / "N46E007.hgt"
    path.parent.mkdir()
    path.write_bytes(tile_bytes(9))
    assert TileFetcher(tmp_path)(46, 7) == path
    assert network.asked == []
