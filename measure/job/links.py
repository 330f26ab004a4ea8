"""A job that was mailed may be a stranger's: links in it would have jawline write, read or remove what is elsewhere.

What a person links beside the job's own files is never touched, and let be.
"""

from __future__ import annotations

import os
import re
from collections.abc import Collection
from pathlib import Path

from calib.errors import JobRefused
from calib.words import Words

FOLDERS = (".history", "revisions")
"""Folders that jawline keeps in a job, with one folder for every step in each."""
MOST_ENTRIES = 20_000
"""Files in them; no bench makes a tenth of it."""
_OWN = re.compile(r"compare-\d+-\d+\.(svg|pdf)|readings-aside-\d+\.csv|photo-\d+\.png|\..*\.part")


def is_numbered(name: str) -> bool:
    """Whether a file is one of jawline's that are numbered, or half-written."""
    return bool(_OWN.fullmatch(name))


def refuse_links(folder: Path, names: Collection[str]) -> None:
    """Look through a job; its own folder may be a link, nothing that jawline uses within.

    Args:
        folder: the job.
        names: files that jawline uses.

    Raises:
        JobRefused: one of them or its folders is a link, or there are more files than any job holds.
    """
    left, todo = MOST_ENTRIES, [(os.fspath(folder), 0)]
    while todo:
        at, depth = todo.pop()
        try:
            with os.scandir(at) as entries:
                for entry in entries:
                    own = depth > 0 or entry.name in FOLDERS or entry.name in names or _OWN.fullmatch(entry.name)
                    if own and _leads_elsewhere(entry):
                        raise _refused(entry.path)
                    if depth == 0 and entry.name not in FOLDERS:
                        continue
                    left -= 1
                    if left < 0:
                        raise JobRefused(
                            Words("{folder} holds more files than any job: move them elsewhere.", folder=folder),
                            "job-damaged",
                        )
                    if depth < 3 and entry.is_dir(follow_symlinks=False):
                        todo.append((entry.path, depth + 1))
        except (OSError, ValueError):
            continue  # gone meanwhile, or not to be read: whoever needs it says so


def _leads_elsewhere(entry: os.DirEntry[str]) -> bool:
    junction = getattr(entry, "is_junction", None)  # what Windows has in a link's place; since Python 3.12
    return entry.is_symlink() or bool(junction and junction())


def _refused(path: str) -> JobRefused:
    return JobRefused(
        Words(
            "{path} is a link, and links in a job are not followed: put the file itself in its "
            "place, or take the link away.",
            path=path,
        ),
        "job-link",
    )
