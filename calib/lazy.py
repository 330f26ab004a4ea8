"""The names that a package shows, each loaded when it is asked for: `import measure` loads no heavy library."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from importlib import import_module
from typing import Any


def lazily(package: str, where: Mapping[str, str]) -> Callable[[str], Any]:
    """A package's ``__getattr__``.

    Args:
        package: its name.
        where: the module that each name stands in.
    """

    def attribute(name: str) -> Any:
        if name not in where:
            raise AttributeError(f"module {package!r} has no attribute {name!r}")
        return getattr(import_module(where[name]), name)

    return attribute
