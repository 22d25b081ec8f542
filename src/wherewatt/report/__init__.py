"""Results for people and for programs.

The room can be called, as a notebook does: ``wherewatt.report("ride.gpx")``. A function of that
name would be replaced by the room as soon as anything of it is loaded (Python reference, 5.4.2).
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from importlib import import_module
from inspect import Signature, signature
from types import ModuleType
from typing import Any


class _Room(ModuleType):
    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        """Report a ride: `wherewatt.notebook.reporting.report`."""
        return _report()(*args, **kwargs)

    @property
    def __signature__(self) -> Signature:  # what a notebook shows of it
        return signature(_report())


def _report() -> Callable[..., Any]:
    # By name, since notebooks stand to the right of this room, which must not import them.
    found: Callable[..., Any] = import_module("wherewatt.notebook.reporting").report
    return found


sys.modules[__name__].__class__ = _Room
