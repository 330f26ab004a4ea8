"""Nothing that only some systems have is needed to import any module."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
IMPORTS_ALL = """
import importlib, pkgutil, sys
for name in ("fcntl", "resource", "termios", "pwd", "grp"):  # what Python's documentation marks as Unix only
    sys.modules[name] = None
for package in ("calib", "measure"):
    for found in pkgutil.walk_packages([package], package + "."):
        if not found.name.endswith("__main__"):
            importlib.import_module(found.name)
            print(found.name)
"""


def test_every_module_is_imported_where_posix_modules_are_not() -> None:
    done = subprocess.run([sys.executable, "-c", IMPORTS_ALL], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr[-2000:]
    there = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for package in ("calib", "measure")
        for path in (ROOT / package).rglob("*.py")
        if path.name not in ("__init__.py", "__main__.py")
    }
    assert there - set(done.stdout.split()) == set()
