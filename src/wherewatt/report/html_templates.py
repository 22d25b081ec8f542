"""Templates of HTML, as every page and fragment uses them."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def html_templates(package: str, *, keep_trailing_newline: bool = False) -> Environment:
    """Templates in a package's folder; what is put into them is escaped."""
    # Escaped by default: names of tracks, surfaces and the like come from files.
    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=keep_trailing_newline,
    )
