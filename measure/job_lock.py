"""One at a time in a job: a lock on its folder that the commands and the bench take around every change.

The lock is the system's own on the folder itself (`flock`), so that no file of it lies about and it goes with the
process that holds it, however that ends. It binds only those who ask for it: reading needs none. Where the system or
the disk has no such lock (Windows, some network drives) only the threads of one process keep out of each other's way.
"""

from __future__ import annotations

import contextlib
import functools
import os
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from calib.errors import WrongUsage

WAIT_S = 10.0
"""Longer than any step keeps a job to itself, but for solids with a CAD kernel."""
_PAUSE_S = 0.02
_BUSY = "Another jawline is changing this job just now: wait until it is done, then do this again."

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(slots=True)
class _Turn:
    """A folder in this process: whose thread has it, how often, and the open folder that the lock is on."""

    thread: threading.RLock = field(default_factory=threading.RLock)
    depth: int = 0
    opened: int | None = None


_turns: dict[str, _Turn] = {}
_guard = threading.Lock()


@contextlib.contextmanager
def held(folder: Path, wait_s: float | None = None) -> Iterator[None]:
    """Nobody else changes the job meanwhile. A thread that has it may take it again.

    Args:
        folder: the job; where there is none yet, nobody can be in it.
        wait_s: for so long others are waited for, seconds; `WAIT_S` by default.

    Raises:
        WrongUsage: somebody else still has it then.
    """
    wait_s = WAIT_S if wait_s is None else wait_s
    end = time.monotonic() + wait_s
    with _guard:
        turn = _turns.setdefault(os.path.realpath(folder), _Turn())
    if not turn.thread.acquire(timeout=wait_s):
        raise WrongUsage(_BUSY, "busy")
    try:
        if turn.opened is None:  # first time, or the folder was not there before
            turn.opened = _locked(folder, end)
        turn.depth += 1
        try:
            yield
        finally:
            turn.depth -= 1
            if turn.depth == 0 and turn.opened is not None:
                opened, turn.opened = turn.opened, None
                os.close(opened)
    finally:
        turn.thread.release()


def _locked(folder: Path, end: float) -> int | None:
    """The folder, opened and locked; None where there is no folder or no such lock."""
    try:
        import fcntl
    except ImportError:  # not on this platform
        return None
    try:
        opened = os.open(folder, os.O_RDONLY)
    except OSError:
        return None
    try:
        while True:
            try:
                fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
                return opened
            except BlockingIOError:
                if time.monotonic() >= end:
                    raise WrongUsage(_BUSY, "busy") from None
                time.sleep(_PAUSE_S)
            except OSError:  # not on this disk
                os.close(opened)
                return None
    except BaseException:
        os.close(opened)
        raise


def alone(step: Callable[Concatenate[Path, P], R]) -> Callable[Concatenate[Path, P], R]:
    """A step that reads a job, works something out and writes it, made to have the job to itself from first to last.

    Args:
        step: takes the job's folder first.
    """

    @functools.wraps(step)
    def step_alone(folder: Path, /, *args: P.args, **options: P.kwargs) -> R:
        with held(folder):
            return step(folder, *args, **options)

    return step_alone
