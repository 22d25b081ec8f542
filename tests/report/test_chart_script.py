"""The script of the chart library."""

from __future__ import annotations

import pytest
from plotly.offline import get_plotlyjs

from wherewatt.errors import OutputError
from wherewatt.report import chart_script
from wherewatt.report.chart_script import chart_library, script_hash


def test_script_is_what_the_package_itself_gives() -> None:
    assert chart_library() == get_plotlyjs().strip()


def test_nothing_in_it_ends_a_script_element() -> None:
    """HTML Standard, "Restrictions for contents of script elements"."""
    lowered = chart_library().lower()
    assert "</script" not in lowered
    assert "<!--" not in lowered
    assert "<script" not in lowered


def test_hash_of_a_script() -> None:
    """The example of MDN's page on script-src: the hash of ``var inline = 1;``."""
    assert script_hash("var inline = 1;") == (
        "'sha256-B2yPHKaXnvFWtRChIbabYmUBFZdVfKKXHbWtWidDVF8='"
    )


def test_a_package_without_its_script_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chart_script, "_PLACE", "nowhere.js")
    chart_library.cache_clear()
    with pytest.raises(OutputError, match="install it anew"):
        chart_library()
    chart_library.cache_clear()
