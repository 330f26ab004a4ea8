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


def fail(order: Any, say: Any) -> None:
    raise ZeroDivisionError("odd")


def double(order: int, say: Any) -> int:
    say("at it")
    return 2 * order
