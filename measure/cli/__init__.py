"""The command line: one thin file a group of commands. Heavy imports stay inside the commands."""

from __future__ import annotations

import sys


def main() -> None:
    """Entry point of the `jawline` command."""
    from measure.cli.app import app
    from measure.cli.run import run

    sys.exit(run(app, sys.argv[1:]))
