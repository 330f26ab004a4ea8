"""A bench's own private folder: photos lie there on their way, and go with it."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from filelock import BaseFileLock

PREFIX, LOCK = "jawline-bench-", ".lock"
"""What the folders of sessions are called; beside each a file of that name and this ending, locked while it lives."""


@dataclass(slots=True)
class Session:
    """From the start of a bench to its end. Use as a context.

    Attributes:
        folder: goes when the bench ends.
    """

    folder: Path = field(init=False)
    _lock: BaseFileLock = field(init=False)

    def __enter__(self) -> Session:
        from filelock import FileLock

        forget_dead_sessions()
        with tempfile.NamedTemporaryFile(prefix=PREFIX, suffix=LOCK, delete=False) as file:
            path = Path(file.name)
        self._lock = FileLock(path)  # first, so that the folder is never taken for a dead bench's
        self._lock.acquire()
        self.folder = path.with_suffix("")
        self.folder.mkdir(mode=0o700)
        return self

    def __exit__(self, *_: object) -> None:
        _remove(self.folder, self._lock)

    def place(self) -> Path:
        """A new empty folder in it."""
        return Path(tempfile.mkdtemp(dir=self.folder))


def forget_dead_sessions() -> None:
    """Remove what a bench left behind that was killed: photos whose cards nobody could hide may be among it.

    Every command does so when it starts: the next may be no bench.
    """
    try:
        left = [x for x in os.listdir(tempfile.gettempdir()) if x.startswith(PREFIX)]
    except OSError:
        return
    if not left:
        return
    from filelock import FileLock  # only now: it takes a moment

    for folder in (Path(tempfile.gettempdir()) / x for x in left):
        if folder.is_symlink() or not folder.is_dir():
            continue
        with contextlib.suppress(OSError):  # it lives, or is another person's
            lock = FileLock(folder.with_suffix(LOCK))
            lock.acquire(blocking=False)
            _remove(folder, lock)


def _remove(folder: Path, lock: BaseFileLock) -> None:
    """The folder, then its lock: still held, so that nobody else looks at a folder half gone."""
    shutil.rmtree(folder, ignore_errors=True)
    with contextlib.suppress(OSError):  # Windows lets nobody take away what is open; there it goes by itself
        Path(lock.lock_file).unlink()
    lock.release()
