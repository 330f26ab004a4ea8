"""A job taken away for good: all that is jawline's; what somebody else has put into its folder stays."""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path

from calib.errors import WrongUsage
from calib.files import is_link
from measure.job import job
from measure.job.links import FOLDERS, is_numbered


def remove(folder: Path) -> None:
    """Remove a job's files, its history and its revisions; see `remove_empty` for the folder.

    Args:
        folder: the job; whoever calls has it alone.

    Raises:
        WrongUsage: something can't be removed.
    """
    try:
        with os.scandir(folder) as entries:
            there = [e for e in entries if not is_link(e)]
        for entry in there:
            if entry.name in FOLDERS and entry.is_dir(follow_symlinks=False):
                shutil.rmtree(entry.path)
            elif entry.is_file(follow_symlinks=False) and (entry.name in job.USED or is_numbered(entry.name)):
                os.unlink(entry.path)
    except OSError as why:
        reason = (why.strerror or str(why)).lower()
        raise WrongUsage(f"The job in {folder} can't be removed ({reason}).", "not-writable") from None


def remove_empty(folder: Path) -> None:
    """Remove a job's folder if nothing is in it: nobody has it any more, for the lock stands in it."""
    with contextlib.suppress(OSError):
        folder.rmdir()
