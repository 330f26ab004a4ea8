"""The command line: one thin file a group of commands. Heavy imports stay inside the commands."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Entry point of the `jawline` command."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # our matrices are small: threads cost more than they give
    from measure.cli.app import app
    from measure.cli.run import run

    sys.exit(run(app, sys.argv[1:]))
