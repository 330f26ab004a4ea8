"""Run the commands so that whatever goes wrong ends in one sentence and the right exit code.

0 done; 1 the photo or the readings can't be trusted; 2 wrong usage. With --json the error is an object on standard
output too. JAWLINE_DEBUG=1 shows the traceback of what nobody expected.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.errors import JawlineError
from calib.messages import LONGEST
from calib.written import shortened
from measure.bench.session import forget_dead_sessions
from measure.cli.out import line, plain_json
from measure.steps.phrases import on_command_line

if TYPE_CHECKING:
    import typer

STOPPED = 130
"""Exit code after Ctrl-C, as shells have it."""


def run(app: typer.Typer, arguments: Sequence[str]) -> int:
    """Run the command line.

    Returns:
        The exit code.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        forget_dead_sessions()
        code = app(args=list(arguments) or ["--help"], prog_name="jawline", standalone_mode=False)
        sys.stdout.flush()
        if code == STOPPED:  # how the parser passes Ctrl-C on
            return _stopped(arguments)
        return code if isinstance(code, int) else 0
    except JawlineError as why:
        return _fail(arguments, why.said(on_command_line), why.code, why.exit_code)
    except BrokenPipeError:
        # The reader has gone (`| head`): whatever was to be written is written. Keep the interpreter from complaining.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return _stopped(arguments)
    except Exception as why:
        if hasattr(why, "format_message"):  # the command-line parser's own: an unknown option, a missing argument
            return _fail(arguments, _usage(why), "usage", 2)
        if type(why).__name__ == "Abort":  # how older versions of the parser do
            return _stopped(arguments)
        if os.environ.get("JAWLINE_DEBUG") == "1":
            raise
        kind = type(why).__name__
        text = (
            "jawline ran out of memory: close other programs or use a smaller photo."
            if isinstance(why, MemoryError)
            else f"jawline met something that it was not made for ({kind}: {_one_line(why)}): please report it; "
            "JAWLINE_DEBUG=1 shows where."
        )
        return _fail(arguments, text, "unexpected", 1)


def _stopped(arguments: Sequence[str]) -> int:
    return _fail(arguments, "Stopped; nothing half-written is left.", "stopped", STOPPED)


def _usage(why: Exception) -> str:
    words = str(why.format_message())  # type: ignore[attr-defined]
    command = getattr(getattr(why, "ctx", None), "command_path", "jawline")
    return f"{words.rstrip('.')}: see `{command} --help`."


def _one_line(why: Exception) -> str:
    return " ".join(str(why).split())[:200]


def _fail(arguments: Sequence[str], text: str, code: str, exit_code: int) -> int:
    if "--json" in arguments:
        plain_json({"error": {"code": code, "text": text}})
        sys.stdout.flush()
    line(shortened(" ".join(text.split()), LONGEST), sys.stderr)
    return exit_code
