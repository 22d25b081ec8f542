"""Write recorded tracks as GPX 1.1, side files, and terrain tiles."""

from __future__ import annotations

import csv
import math
import zipfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from .display import CallOut
from .recorder import RecordedTrack
from .tags import Tag
from .world import TILE_NAME, tile_heights

GPX_NS = "http://www.topografix.com/GPX/1/1"
EXTENSION_NS = "https://example.org/ride/1"


def write_gpx(path: Path, track: RecordedTrack, name: str) -> None:
    """Write a track as GPX 1.1: one segment per piece, times in UTC.

    Recorded speed and distance, where there are any, go into point extensions named ``speed``
    [m/s] and ``distance`` [m].
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="island ride simulator" xmlns="{GPX_NS}" '
        f'xmlns:r="{EXTENSION_NS}">',
        f"<trk><name>{name}</name>",
    ]
    for piece in np.unique(track.piece):
        lines.append("<trkseg>")
        lines += [_gpx_point(track, int(i)) for i in np.flatnonzero(track.piece == piece)]
        lines.append("</trkseg>")
    lines.append("</trk></gpx>\n")
    path.write_text("\n".join(lines), encoding="utf-8")


def _gpx_point(track: RecordedTrack, i: int) -> str:
    place = f'<trkpt lat="{track.lat_deg[i]:.7f}" lon="{track.lon_deg[i]:.7f}">'
    height = track.height_m[i]
    ele = "" if math.isnan(height) else f"<ele>{height:.1f}</ele>"
    time = f"<time>{np.datetime64(int(track.time_unix_s[i]), 's')}Z</time>"
    extra = ""
    if not math.isnan(track.speed_m_s[i]):
        extra += f"<r:speed>{track.speed_m_s[i]:.2f}</r:speed>"
    if not math.isnan(track.distance_m[i]):
        extra += f"<r:distance>{track.distance_m[i]:.1f}</r:distance>"
    if extra:
        extra = f"<extensions>{extra}</extensions>"
    return f"{place}{ele}{time}{extra}</trkpt>"


def write_readings(path: Path, call_outs: Sequence[CallOut]) -> None:
    """Write call-outs; a voltage column only where a voltage was read."""
    volts = any(not math.isnan(reading.voltage_v) for reading in call_outs)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["at", "battery_pct", *(["voltage_v"] if volts else []), "state"])
        for reading in call_outs:
            volt = [f"{reading.voltage_v:.1f}"] if volts else []
            writer.writerow([reading.at, reading.battery_pct, *volt, reading.state])


def write_surface(path: Path, tags: Sequence[Tag], *, structures: bool) -> None:
    """Write surface tags, with bridges if `structures`."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(["from", "to", "surface", *(["structure"] if structures else [])])
        for tag in tags:
            if tag.from_at == tag.to_at:
                continue
            structure = [tag.structure] if structures else []
            writer.writerow([tag.from_at, tag.to_at, tag.surface, *structure])


def write_tile(folder: Path, arc_seconds: int = 3, *, zipped: bool = False) -> Path:
    """Write the island's terrain tile as ``.hgt`` or ``.hgt.zip``, the same bytes every time.

    Parameters
    ----------
    folder : pathlib.Path
        Where to.
    arc_seconds : int
        3 or 1.
    zipped : bool
        Whether to zip it.

    Returns
    -------
    pathlib.Path
        The file written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    heights: NDArray[np.int16] = tile_heights(arc_seconds)
    payload = heights.astype(">i2").tobytes()
    name = f"{TILE_NAME}.hgt"
    if not zipped:
        (folder / name).write_bytes(payload)
        return folder / name
    entry = zipfile.ZipInfo(name, date_time=(2025, 1, 1, 0, 0, 0))
    entry.compress_type = zipfile.ZIP_DEFLATED
    with zipfile.ZipFile(folder / f"{name}.zip", "w") as archive:
        archive.writestr(entry, payload, compresslevel=9)
    return folder / f"{name}.zip"
