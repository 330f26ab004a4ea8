"""Where lens profiles are kept, so that a photo finds its own.

The folder is that which the platform has for a program's data; JAWLINE_LENSES names another one.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from calib import user_data
from calib.errors import WrongUsage
from calib.lens.lens import Profile, read_profile
from calib.photo.photo import Photo

VARIABLE = "JAWLINE_LENSES"


def folder() -> Path:
    """The profiles' folder; it need not be there."""
    return user_data.folder("lenses", VARIABLE)


def profile_for(photo: Photo) -> Profile | None:
    """The newest kept profile of a photo's camera, or None."""
    return next((profile for profile in _kept() if profile.camera and not profile.misfit(photo)), None)


def profile_named(name: str) -> Profile | None:
    """The newest kept profile of a name, or None: for a photo that no longer says what camera took it."""
    return next((profile for profile in _kept() if profile.name == name), None)


def _kept() -> Iterator[Profile]:
    """All profiles, the newest first. Files that are no profiles are passed over."""
    try:
        files = sorted(folder().glob("*.json"), key=lambda p: -p.stat().st_mtime)
    except (OSError, RuntimeError):
        return
    for path in files:
        with contextlib.suppress(WrongUsage):
            yield read_profile(path)
