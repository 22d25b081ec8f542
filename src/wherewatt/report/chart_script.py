"""The script of the chart library, which its Python package brings along."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from wherewatt.errors import OutputError

_PLACE = "package_data/plotly.min.js"


@cache
def chart_library() -> str:
    """The script of plotly, to stand inside a page.

    It is read as a file: importing the package would take longer than all else on the page.

    Raises
    ------
    OutputError
        If the package is not installed, or without its script.
    """
    spec = find_spec("plotly")
    for folder in (spec.submodule_search_locations or ()) if spec else ():
        script = Path(folder) / _PLACE
        if script.is_file():
            return script.read_text(encoding="utf-8").strip()
    raise OutputError(f"the package plotly has no {_PLACE}: install it anew")


def script_hash(script: str) -> str:
    """The source expression by which a content security policy allows exactly this script.

    Source: W3C, Content Security Policy Level 3, section 2.3.1 (hash-source).
    """
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
