"""Reading what lies under a name that somebody else chose: plain files of sensible size, nothing that makes one wait.

A pipe in a file's place would hang whoever opens it, a device would never end, and a link may lead anywhere. What is
refused is refused as an `OSError` whose reason reads well in brackets behind a sentence.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from pathlib import Path


class NotPlain(OSError):
    """What lies there is not read: a pipe, a device, a link where none may be, or too large a file."""


def content_of(path: Path, most_mb: float, *, links: bool = True) -> bytes:
    """The content of a plain file.

    Args:
        path: the file.
        most_mb: size up to which it is read, megabytes.
        links: whether its name may be a link to the file.

    Raises:
        OSError: it can't be read; `NotPlain` where it is no such file.
    """
    most = int(most_mb * 1e6)
    # Looked at before it is opened, since opening alone may change a device; and again when it is open, since what lies
    # there may have been changed in between.
    _check(_status(path, links), path, most)
    flags = os.O_RDONLY | _flag("O_NONBLOCK") | _flag("O_BINARY") | _flag("O_CLOEXEC") | _flag("O_NOCTTY")
    opened = os.open(path, flags if links else flags | _flag("O_NOFOLLOW"))
    with os.fdopen(opened, "rb") as f:
        _check(os.fstat(f.fileno()), path, most)
        data = f.read(most + 1)
    if len(data) > most:
        raise _too_large(path, most)
    return data


def is_plain(path: Path) -> bool:
    """Whether a plain file lies there; a link is none."""
    with contextlib.suppress(OSError, ValueError):
        return stat.S_ISREG(_status(path, links=False).st_mode)
    return False


def is_link(path: str | os.PathLike[str]) -> bool:
    """Whether it is a link, or what Windows has in its place for folders."""
    junction = getattr(os.path, "isjunction", None)  # since Python 3.12
    return os.path.islink(path) or bool(junction and junction(path))


def _flag(name: str) -> int:
    """A flag for opening, where the system has it."""
    return int(getattr(os, name, 0))


def _status(path: Path, links: bool) -> os.stat_result:
    try:
        if not links and is_link(path):
            raise NotPlain(errno.ELOOP, "it is a link", str(path))
        return os.stat(path)
    except ValueError:  # a null character
        raise NotPlain(errno.EINVAL, "no file has such a name", str(path)) from None


def _check(found: os.stat_result, path: Path, most: int) -> None:
    if stat.S_ISDIR(found.st_mode):
        raise IsADirectoryError(errno.EISDIR, "it is a folder", str(path))
    if not stat.S_ISREG(found.st_mode):
        raise NotPlain(errno.EINVAL, "it is no plain file", str(path))
    if found.st_size > most:
        raise _too_large(path, most)


def _too_large(path: Path, most: int) -> NotPlain:
    return NotPlain(errno.EFBIG, f"it is larger than {most / 1e6:g} megabytes", str(path))
