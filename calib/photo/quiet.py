"""Libraries that write to the terminal by themselves are not heard: what is said to people is said by this tool."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from threading import Lock

_ONE_AT_A_TIME = Lock()
STANDARD_ERROR = 2


@contextlib.contextmanager
def quiet() -> Iterator[None]:
    """Nothing that is written to this process's standard error, by its number, is seen.

    It holds for the whole process: to be used around decoders that write there (libtiff does), and no longer.
    """
    with _ONE_AT_A_TIME, contextlib.ExitStack() as undo:
        with contextlib.suppress(OSError):  # a process without a standard error has nothing to be kept from
            kept = os.dup(STANDARD_ERROR)
            undo.callback(os.close, kept)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            undo.callback(os.close, nowhere)
            os.dup2(nowhere, STANDARD_ERROR)
            undo.callback(os.dup2, kept, STANDARD_ERROR)
        yield
