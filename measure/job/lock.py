"""One at a time in a job: a lock on its folder that the commands and the bench take around every change.

It is a file in the folder that the system locks (`filelock`: `flock`, or `LockFileEx` on Windows), so that the lock
goes with the process that holds it, however that ends. It binds only those who ask for it: reading needs none. A disk
that cannot lock, or a folder that cannot be written to, keeps nobody out.
"""

from __future__ import annotations

import contextlib
import functools
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from calib.errors import JobRefused, WrongUsage
from calib.files import is_link
from calib.words import Words

NAME = ".jawline.lock"
"""There while somebody has the job; a process that was killed leaves it, and it locks nothing then."""
WAIT_S = 10.0
"""Longer than any step keeps a job to itself, but for solids with a CAD kernel."""
_PAUSE_S = 0.02

P = ParamSpec("P")
R = TypeVar("R")


@contextlib.contextmanager
def held(folder: Path, wait_s: float | None = None) -> Iterator[None]:
    """Nobody else changes the job meanwhile. A thread that has it may take it again.

    Args:
        folder: the job; where there is none yet, nobody can be in it.
        wait_s: for so long others are waited for, seconds; `WAIT_S` by default.

    Raises:
        WrongUsage: somebody else still has it then.
        JobRefused: what stands in the place of the lock leads elsewhere.
    """
    if not os.path.isdir(folder):  # the library would make it
        yield
        return
    from filelock import FileLock, Timeout

    path = Path(os.path.realpath(folder)) / NAME
    if is_link(path):  # the lock would be written through it
        raise JobRefused(
            Words("{path} is a link, and links in a job are not followed: take it away.", path=path), "job-link"
        )
    lock = FileLock(path, poll_interval=_PAUSE_S, is_singleton=True)
    with contextlib.ExitStack() as until_done:
        try:
            until_done.enter_context(lock.acquire(WAIT_S if wait_s is None else wait_s))
        except Timeout:
            raise WrongUsage(
                Words("Another jawline is changing this job just now: wait until it is done, then do this again."),
                "busy",
            ) from None
        except OSError:  # not to be written to, or a disk without locks
            pass
        else:
            until_done.callback(_take_away, lock.lock_counter, path)
        yield


def _take_away(held_times: int, path: Path) -> None:
    """No file of it stays once the last to hold it lets go: who waits for it notices, and makes another."""
    if held_times == 1:
        with contextlib.suppress(OSError):  # Windows lets nobody take away what is open; there it goes by itself
            path.unlink()


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
