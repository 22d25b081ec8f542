"""What a person sees of a watch."""

from __future__ import annotations

import io

from rich.console import Console

from wherewatt.inbox.live import LiveLine
from wherewatt.inbox.teller import Status, summary_line


def seen(*, terminal: bool) -> str:
    file = io.StringIO()
    console = Console(file=file, force_terminal=terminal, width=70, highlight=False)
    with LiveLine(console) as teller:
        teller.status(Status(waiting=2, in_work=("a[bold].gpx",)))
        teller.line("a\x1b[2J[red].gpx: " + "long " * 20)
        teller.status(Status(done=1, unusable=1))
    return file.getvalue()


def test_plain_lines_where_there_is_no_terminal() -> None:
    assert seen(terminal=False) == "a\N{REPLACEMENT CHARACTER}[2J[red].gpx: " + "long " * 20 + "\n"


def test_live_line_in_a_terminal() -> None:
    text = seen(terminal=True)
    assert "0 reported, 2 waiting, 0 rides with a problem; reading a[bold]" in text
    assert "1 reported, 0 waiting, 1 ride with a problem; watching" in text
    assert "\x1b[2J" not in text  # of a file's name


def test_summary() -> None:
    assert summary_line(Status(3, 2, 1)) == "3 reported, 2 waiting, 1 ride with a problem"
