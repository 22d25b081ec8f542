"""wherewatt: where the watt-hours of a light electric vehicle's ride went.

For a notebook::

    import wherewatt

    ride = wherewatt.read("ride.gpx")
    result = wherewatt.report(ride, tiles=["tiles"])
    result.sections
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wherewatt.config import load_config
    from wherewatt.errors import InputError, WherewattError
    from wherewatt.notebook.archive import RideArchive, read_archive
    from wherewatt.notebook.reading import RecordedRide, read
    from wherewatt.notebook.reporting import RideReport, report

__version__ = "0.1.0"

__all__ = [
    "InputError",
    "RecordedRide",
    "RideArchive",
    "RideReport",
    "WherewattError",
    "__version__",
    "load_config",
    "read",
    "read_archive",
    "report",
]

# Loaded when they are used: no command pays for what a notebook needs.
_HOMES = {
    "InputError": "wherewatt.errors",
    "RecordedRide": "wherewatt.notebook.reading",
    "RideArchive": "wherewatt.notebook.archive",
    "RideReport": "wherewatt.notebook.reporting",
    "WherewattError": "wherewatt.errors",
    "load_config": "wherewatt.config",
    "read": "wherewatt.notebook.reading",
    "read_archive": "wherewatt.notebook.archive",
    "report": "wherewatt.report",
}

if not TYPE_CHECKING:  # to a type checker, every name would be one of the package

    def __getattr__(name: str) -> Any:
        if name not in _HOMES:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        from importlib import import_module

        home = import_module(_HOMES[name])
        value = globals()[name] = getattr(home, name, home)  # a room that can be called
        return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
