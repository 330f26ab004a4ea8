"""What reaches a terminal: lines in which nothing moves its cursor, whoever named the file or wrote the note."""

from __future__ import annotations

import json
import sys
from typing import Any, TextIO

from calib.written import printable


def line(text: str, file: TextIO | None = None) -> None:
    """Print a line."""
    print(printable(text), file=file or sys.stdout, flush=True)


def at_work(text: str) -> None:
    """Say what takes a moment, to somebody who waits at a terminal."""
    if sys.stderr.isatty():
        line(f"{text}: some seconds, the first time up to a minute.", sys.stderr)


def plain_json(value: Any) -> None:
    """Print one JSON object; characters that a terminal might obey are written as escapes, which JSON has for all."""
    text = json.dumps(value, ensure_ascii=False)
    print(text if text.isprintable() else "".join(c if c.isprintable() else json.dumps(c)[1:-1] for c in text))
