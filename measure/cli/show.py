"""What a command says when it is done: lines for people, or one JSON object."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from measure.cli.out import line, plain_json
from measure.steps.phrases import on_command_line

if TYPE_CHECKING:
    from measure.steps import Done


def show(done: Done, as_json: bool) -> None:
    """Print a step's outcome; cautions go to standard error."""
    for caution in done.cautions:
        line(f"Caution: {caution.said(on_command_line)}", sys.stderr)
    if as_json:
        files = [str(p) for p in done.files]
        plain_json({"step": done.step, "files": files, **done.result})
        return
    for words in done.lines:
        line(words)
