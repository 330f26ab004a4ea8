"""What a trace is at, for whoever waits for it."""

from __future__ import annotations

from collections.abc import Callable
from enum import Enum, auto


class Stage(Enum):
    """Where a trace has come to; each begins when the one before is done."""

    CARD = auto()
    PART = auto()
    EDGES = auto()
    FEATURES = auto()
    AGAIN = auto()
    """Once more, along the features that were found."""


Watch = Callable[[Stage], None]
"""Is told of each when it begins."""
