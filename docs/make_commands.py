"""Writes docs/commands.md anew from what ``--help`` prints; ``python -m docs.make_commands``."""

from __future__ import annotations

import argparse
import os
from pathlib import Path
from unittest import mock

from wherewatt.cli import _parser

PAGE = Path(__file__).parent / "commands.md"
WIDTH = "84"  # characters; what the site's column holds

HEAD = """\
# Commands

What each verb prints when asked for `--help`. `python -m docs.make_commands` writes this page; a
test holds it to the code.

"""


def page() -> str:
    """The page as it should be."""
    with mock.patch.dict(os.environ, {"COLUMNS": WIDTH}):
        helps = {"wherewatt": _parser().format_help()}
        helps |= {f"wherewatt {name}": verb.format_help() for name, verb in verbs().items()}
    blocks = [f"## {name}\n\n```text\n{text}```\n" for name, text in helps.items()]
    return HEAD + "\n".join(blocks)


def verbs() -> dict[str, argparse.ArgumentParser]:
    """The verbs of the command line, in their order."""
    (choices,) = (
        action.choices
        for action in _parser()._actions
        if isinstance(action, argparse._SubParsersAction)
    )
    return dict(choices)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
