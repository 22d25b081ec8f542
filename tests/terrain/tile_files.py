"""Small terrain files for tests: .hgt tiles and GeoTIFFs of invented ground."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from rasterio.transform import Affine

from wherewatt.arrays import FloatArray

SIDE = 1201
Ground = Callable[[Any, Any], Any]


def tile_bytes(height: int) -> bytes:
    return np.full((SIDE, SIDE), height, dtype=">i2").tobytes()


def write_hgt(folder: Path, name: str, heights: Any) -> Path:
    path = folder / f"{name}.hgt"
    path.write_bytes(np.rint(heights).astype(">i2").tobytes())
    return path


def ground_tile(south: float, west: float, ground: Ground, side: int = SIDE) -> FloatArray:
    """Heights of a one-degree tile (side, side), north row first, of a function of lat, lon."""
    part = np.linspace(0.0, 1.0, side)
    return ground(*np.meshgrid(south + 1.0 - part, west + part, indexing="ij"))


def write_geotiff(path: Path, heights: Any, transform: Affine, crs: str, **more: Any) -> Path:
    """Write one band; `more`: nodata, tags, scale, offset, unit and options of the driver."""
    heights = np.asarray(heights)
    bands = heights if heights.ndim == 3 else heights[np.newaxis]
    tags, scale = more.pop("tags", {}), more.pop("scale", None)
    offset, unit = more.pop("offset", None), more.pop("unit", None)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        count=len(bands),
        height=bands.shape[1],
        width=bands.shape[2],
        dtype=bands.dtype,
        transform=transform,
        crs=crs,
        **more,
    ) as dataset:
        dataset.write(bands)
        if tags:
            dataset.update_tags(**tags)
        if scale is not None:
            dataset.scales, dataset.offsets = (scale,), (offset,)
        if unit is not None:
            dataset.units = (unit,)
    return path
