"""Work for workers that ends badly, each in its own way."""

from __future__ import annotations

import os
import time
from typing import Any


def crash(order: Any, say: Any) -> None:
    os._exit(9)


def hang(order: Any, say: Any) -> None:
    say("I hang")
    time.sleep(60)


def fill(order: int, say: Any) -> int:
    """Takes so many megabytes."""
    return len(bytearray(order * 1_000_000))


def wait_for(order: str, say: Any) -> str:
    """Goes on until there is a file of that name."""
    say("at it")
    while not os.path.exists(order):
        time.sleep(0.02)
    return order


def fail(order: Any, say: Any) -> None:
    raise ZeroDivisionError("odd")


def double(order: int, say: Any) -> int:
    say("at it")
    return 2 * order
