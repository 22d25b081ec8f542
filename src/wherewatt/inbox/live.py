"""What a person sees of a watch: a line that stays for each event, and one that lives."""

from __future__ import annotations

from types import TracebackType

from rich.console import Console
from rich.live import Live
from rich.text import Text

from wherewatt.inbox.teller import Status, summary_line
from wherewatt.report.wording import plain


class LiveLine:
    """Prints lines, and below them, where there is a terminal, what goes on now.

    Parameters
    ----------
    console : where to.
    """

    def __init__(self, console: Console) -> None:
        self._console = console
        self._shown = Status()
        self._live = Live(console=console, transient=True, auto_refresh=False)

    def __enter__(self) -> LiveLine:
        if self._console.is_terminal:
            self._live.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._live.stop()

    def line(self, text: str) -> None:
        """Print a line that stays."""
        # A path must stay in one piece, and nothing of it be read as markup.
        self._console.print(Text(plain(text)), soft_wrap=True)

    def status(self, status: Status) -> None:
        """Show where the watch is, if that has changed."""
        if status != self._shown and self._live.is_started:
            self._live.update(Text(_now(status), no_wrap=True, overflow="ellipsis"), refresh=True)
        self._shown = status


def _now(status: Status) -> str:
    reading = ", ".join(map(plain, status.in_work))
    return f"{summary_line(status)}; " + (f"reading {reading}" if reading else "watching")
