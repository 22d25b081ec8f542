"""GeoTIFF elevation files: what their headers say, and blocks of their heights.

rasterio (GDAL) reads them. It gives the corner of the first pixel whether the file is registered
by corners ("area") or by centres ("point"); a post stands at the centre of its pixel either way.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from wherewatt.arrays import FloatArray
from wherewatt.errors import Problem, TerrainError, display_name
from wherewatt.terrain.interpolate import without_impossible
from wherewatt.units import METRES_PER_FOOT

_US_SURVEY_FOOT_M = 1200.0 / 3937.0
_METRES = {
    **dict.fromkeys(("", "m", "metre", "metres", "meter", "meters"), 1.0),
    **dict.fromkeys(("ft", "foot", "feet"), METRES_PER_FOOT),
    **dict.fromkeys(("us-ft", "ftus", "us survey foot", "us survey feet"), _US_SURVEY_FOOT_M),
}


@dataclass(frozen=True, slots=True)
class Raster:
    """One GeoTIFF with one band of heights.

    Parameters
    ----------
    path, changed_ns : the file, and when it was last changed.
    shape : rows and columns of posts.
    first_post : coordinates x, y of the post in the first row and column.
    step : change of x and y from column to column, then from row to row.
    crs : coordinate reference system as WKT.
    factor, offset_m : height [m] = factor × number in the file + offset.
    """

    path: Path
    changed_ns: int
    shape: tuple[int, int]
    first_post: tuple[float, float]
    step: tuple[float, float, float, float]
    crs: str
    factor: float
    offset_m: float

    def block(self, top: int, left: int, shape: tuple[int, int]) -> FloatArray:
        """Heights of a block of posts within the file [m]; NaN for a void.

        Raises
        ------
        TerrainError
            If the file cannot be read.
        """
        from rasterio.errors import RasterioError
        from rasterio.windows import Window

        window = Window(left, top, shape[1], shape[0])
        try:
            numbers = _opened(self.path, self.changed_ns).read(1, window=window, masked=True)
        except RasterioError as error:
            raise _unreadable(self.path, error) from error
        heights = numbers.astype(np.float64).filled(np.nan)
        return without_impossible(self.factor * heights + self.offset_m)


def geotiff_paths(folder: Path) -> list[Path]:
    """GeoTIFF files in a folder and one folder down, by name."""
    found = [path for depth in ("", "*/") for path in folder.glob(f"{depth}*.[tT][iI][fF]*")]
    return sorted(path for path in found if path.suffix.lower() in (".tif", ".tiff"))


def require_rasterio(path: Path) -> None:
    """Check that GeoTIFFs can be read.

    Raises
    ------
    TerrainError
        If rasterio is not installed.
    """
    if find_spec("rasterio") is None:
        raise TerrainError(
            Problem(
                display_name(path),
                "",
                "a GeoTIFF but no rasterio to read it",
                "rasterio to be installed",
                "pip install 'wherewatt[geotiff]', or take the file out of the folder",
            )
        )


def read_header(path: Path) -> Raster:
    """Where the posts of a GeoTIFF lie and what its numbers mean.

    Raises
    ------
    TerrainError
        If it cannot be read, has no place on Earth, or does not hold heights.
    """
    from rasterio.errors import RasterioError

    try:
        changed_ns = path.stat().st_mtime_ns
        dataset = _opened(path, changed_ns)
    except (OSError, RasterioError) as error:
        raise _unreadable(path, error) from error
    _check(path, dataset)
    to = dataset.transform
    return Raster(
        path=path,
        changed_ns=changed_ns,
        shape=(dataset.height, dataset.width),
        first_post=(to.c + (to.a + to.b) / 2.0, to.f + (to.d + to.e) / 2.0),
        step=(to.a, to.d, to.b, to.e),
        crs=dataset.crs.to_wkt(),
        factor=float(dataset.scales[0]) * _unit_metres(path, dataset),
        offset_m=float(dataset.offsets[0]) * _unit_metres(path, dataset),
    )


@lru_cache(maxsize=16)
def _opened(path: Path, changed_ns: int) -> Any:
    """Open a file; kept open until it changes or others take its place."""
    import rasterio
    from rasterio.errors import NotGeoreferencedWarning

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)  # said as an error by _check
        return rasterio.open(path, driver="GTiff")


def _check(path: Path, dataset: Any) -> None:
    found = ""
    if dataset.crs is None:
        found = "no coordinate reference system"
    elif dataset.count != 1:
        found = f"{dataset.count} bands"
    elif dataset.dtypes[0].startswith("complex") or min(dataset.shape) < 2:
        found = f"{dataset.height} × {dataset.width} pixels of {dataset.dtypes[0]}"
    if found:
        expected, mend = "one band of heights with a place", "take the file out of the folder"
        raise TerrainError(Problem(display_name(path), "", found, expected, mend))


def _unit_metres(path: Path, dataset: Any) -> float:
    """Metres in the file's unit of height: the band's, else that of the vertical axis, else 1."""
    from pyproj import CRS

    unit = (dataset.units[0] or "").strip().lower()
    if unit not in _METRES:
        mend = "convert the heights to metres"
        raise TerrainError(
            Problem(display_name(path), "", f"heights in '{unit}'", "metres or feet", mend)
        )
    if unit:
        return _METRES[unit]
    axes = CRS.from_wkt(dataset.crs.to_wkt()).axis_info
    return next((axis.unit_conversion_factor for axis in axes if axis.direction == "up"), 1.0)


def _unreadable(path: Path, error: Exception) -> TerrainError:
    name = display_name(path)
    found = str(error).removeprefix(f"{name}: ")
    return TerrainError(Problem(name, "", found, "an elevation GeoTIFF", "replace the file"))
