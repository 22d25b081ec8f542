"""The stamp of a result: what it was made of, and by what."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from wherewatt import __version__
from wherewatt.errors import Problem, TrackError

STAMP_NAME = ".stamp.json"


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a result was made of, and by what; results with equal stamps are equal.

    Parameters
    ----------
    track : file name of the track.
    inputs : SHA-256 of the track and of each side file, by file name.
    version : of the package.
    settings : hash of all that was configured.
    """

    track: str
    inputs: dict[str, str]
    version: str
    settings: str

    def is_on(self, folder: Path) -> bool:
        """Whether a folder holds a whole result with this stamp."""
        found = _load(folder)
        if found is None or found.get("stamp") != asdict(self):
            return False
        files = found.get("files")
        return isinstance(files, list) and all((folder / str(name)).is_file() for name in files)


def make_stamp(track: Path, names: Iterable[str], settings: str) -> Stamp:
    """Hash the files of a ride.

    Parameters
    ----------
    track : the track.
    names : its own name and those of the side files, which lie beside it.
    settings : hash of all that is configured.

    Raises
    ------
    TrackError
        If a file cannot be read; all of them at once.
    """
    inputs: dict[str, str] = {}
    problems: list[Problem] = []
    for name in names:
        try:
            with track.with_name(name).open("rb") as file:
                inputs[name] = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            reason = error.strerror or str(error)
            problems.append(Problem(name, "", reason, "a readable file", "check its permissions"))
    if problems:
        raise TrackError(*problems)
    return Stamp(track.name, inputs, __version__, settings)


def put_stamp(stamp: Stamp, folder: Path) -> None:
    """Write the stamp into a folder that holds the files of its result and no others."""
    files = sorted(path.name for path in folder.iterdir())
    text = json.dumps({"stamp": asdict(stamp), "files": files}, indent=1)
    (folder / STAMP_NAME).write_text(text + "\n", encoding="utf-8", newline="\n")


def track_of(folder: Path) -> str:
    """File name of the track that the result in a folder was made of; "" without a stamp."""
    stamp = (_load(folder) or {}).get("stamp")
    return str(stamp.get("track", "")) if isinstance(stamp, dict) else ""


def files_of(folder: Path) -> frozenset[str]:
    """Names of the files that belong to the result in a folder, its stamp among them."""
    files = (_load(folder) or {}).get("files")
    return frozenset({STAMP_NAME, *map(str, files)} if isinstance(files, list) else ())


def _load(folder: Path) -> dict[str, object] | None:
    """What stands in a stamp file; None if there is none that can be read."""
    try:
        found = json.loads((folder / STAMP_NAME).read_bytes())
    except (OSError, ValueError):
        return None
    return found if isinstance(found, dict) else None
