"""Whether another bench is at the same folder of jobs.

A bench has a shared lock on the folder (`flock`) for as long as it runs: the system takes it back however the process
ends. What only a bench that is alone may clear up, it clears up while it has the lock for itself. Where the system or
the disk has no such lock, a bench takes itself to be alone.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(slots=True)
class Presence:
    """Of a bench at a folder of jobs. Use as a context.

    Attributes:
        folder: the jobs.
        clear_up: done at the start by a bench that is alone.
    """

    folder: Path
    clear_up: Callable[[], None]
    _opened: int | None = None

    def __enter__(self) -> Presence:
        try:
            import fcntl

            self._opened = opened = os.open(self.folder, os.O_RDONLY)
        except (ImportError, OSError):
            self.clear_up()
            return self
        try:
            fcntl.flock(opened, fcntl.LOCK_EX | fcntl.LOCK_NB)
            alone = True
        except OSError as why:
            alone = not isinstance(why, BlockingIOError)
        if alone:
            self.clear_up()
        with contextlib.suppress(OSError):
            fcntl.flock(opened, fcntl.LOCK_SH)  # waits for no longer than another one clears up
        return self

    def __exit__(self, *_: object) -> None:
        if self._opened is not None:
            os.close(self._opened)
            self._opened = None
