"""The command line: each verb a few lines over a library function, in a file of its own."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence

from wherewatt import __version__
from wherewatt.cli.archive import add_archive
from wherewatt.cli.compare import add_compare
from wherewatt.cli.demo import add_demo
from wherewatt.cli.options import complain
from wherewatt.cli.predict import add_predict
from wherewatt.cli.query import add_query
from wherewatt.cli.report import add_report
from wherewatt.cli.tag import add_tag
from wherewatt.cli.turnback import add_turnback
from wherewatt.cli.watch import add_watch
from wherewatt.errors import WherewattError

DESCRIPTION = "Where the watt-hours of a light electric vehicle's ride went."


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit code.

    0 if all went well, 1 if an input could not be used (each problem is one line on standard
    error), 2 if the command itself was wrong, 130 if interrupted.
    """
    # Read when linear algebra is loaded. Its threads gain nothing on systems as small as a ride's,
    # and numbers then do not depend on how many processors there are.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except WherewattError as error:
        complain(str(error))
        return 1
    except KeyboardInterrupt:
        complain("interrupted; what was finished is kept")
        return 130
    except BrokenPipeError:  # the reader of our output has gone, as with "| head"
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="wherewatt", description=DESCRIPTION)
    parser.add_argument("--version", action="version", version=f"wherewatt {__version__}")
    verbs = parser.add_subparsers(title="verbs", required=True, metavar="VERB")
    add_report(verbs)
    add_compare(verbs)
    add_predict(verbs)
    add_turnback(verbs)
    add_tag(verbs)
    add_watch(verbs)
    add_archive(verbs)
    add_query(verbs)
    add_demo(verbs)
    return parser
