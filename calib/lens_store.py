"""Where lens profiles are kept, so that a photo finds its own.

The folder is that which the platform has for a program's data; JAWLINE_LENSES names another one.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from calib.errors import WrongUsage
from calib.lens import Profile, read_profile
from calib.photo import Photo

VARIABLE = "JAWLINE_LENSES"


def folder() -> Path:
    """The profiles' folder; it need not be there."""
    named = os.environ.get(VARIABLE)
    if named:
        return Path(named)
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local")
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Application Support"
    else:
        base = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    return base / "jawline" / "lenses"


def profile_for(photo: Photo) -> Profile | None:
    """The newest kept profile of a photo's camera, or None. Files that are no profiles are passed over."""
    try:
        files = sorted(folder().glob("*.json"), key=lambda p: -p.stat().st_mtime)
    except (OSError, RuntimeError):
        return None
    for path in files:
        try:
            profile = read_profile(path)
        except WrongUsage:
            continue
        if profile.camera and not profile.misfit(photo):
            return profile
    return None
