"""What a command says when it is done: lines for people, or one JSON object."""

from __future__ import annotations

import json
import sys
from typing import TYPE_CHECKING

from measure.steps.phrases import on_command_line

if TYPE_CHECKING:
    from measure.steps import Done


def show(done: Done, as_json: bool) -> None:
    """Print a step's outcome; cautions go to standard error."""
    for caution in done.cautions:
        print(f"Caution: {caution.said(on_command_line)}", file=sys.stderr)
    if as_json:
        files = [str(p) for p in done.files]
        print(json.dumps({"step": done.step, "files": files, **done.result}, ensure_ascii=False))
        return
    for line in done.lines:
        print(line)
