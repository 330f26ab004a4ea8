"""Tasks that wait for a worker: whose turn it is, so that large photos and strangers' do not hold up the rest."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass
from typing import Any

Say = Callable[[Any], None]
Work = Callable[[Any, Say], Any]


@dataclass(frozen=True, slots=True)
class Task:
    """Work for a worker.

    Attributes:
        work: a function of a module, called with `order` and a function to say things by.
        order: its argument; it goes through a pipe, as does what comes back, so both are small.
        limit_s: how long it may take.
        say: is told in this process, in another thread, what the work says.
        done: what came of it.
        large: whether it takes so much memory that no other large one is done beside it.
        guest: whether a stranger asks for it.
    """

    work: Work
    order: Any
    limit_s: float
    say: Say
    done: Future[Any]
    large: bool = False
    guest: bool = False


class Waiting:
    """The tasks that nobody has taken yet, in their order: guests' behind all others, never all workers for them."""

    def __init__(self, workers: int) -> None:
        self._most_guests = max(1, workers - 1)
        self._tasks: list[Task] = []
        self._out: list[Task] = []
        self._changed = threading.Condition()
        self._closed = False

    def put(self, task: Task) -> None:
        """One more."""
        with self._changed:
            self._tasks.append(task)
            self._changed.notify_all()

    def take(self) -> Task | None:
        """The next whose turn it is, as soon as there is one; `finished` gives it back. None once it is closed."""
        with self._changed:
            while not self._closed:
                for task in sorted(self._tasks, key=lambda t: t.guest):
                    if self._may(task):
                        self._tasks.remove(task)
                        self._out.append(task)
                        return task
                self._changed.wait()
            return None

    def _may(self, task: Task) -> bool:
        if task.large and any(t.large for t in self._out):
            return False
        return not task.guest or sum(t.guest for t in self._out) < self._most_guests

    def finished(self, task: Task) -> None:
        """It is done, whatever came of it."""
        with self._changed:
            self._out = [t for t in self._out if t is not task]
            self._changed.notify_all()

    def close(self) -> None:
        """Let everybody go who waits for a task; those that nobody has taken are never done."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()
