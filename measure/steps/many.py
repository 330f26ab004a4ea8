"""The same work on many things in several processes: lazily, in bounded memory, whatever becomes of one of them."""

from __future__ import annotations

import contextlib
import math
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from typing import TypeVar

from calib.errors import Untrustworthy
from measure.steps.waiting import Say
from measure.steps.workers import Workers

T = TypeVar("T")
R = TypeVar("R")

AHEAD = 2
"""How many things are handed out for each worker, so that none of them waits and memory does not grow with the work."""


def cores() -> int:
    """How many cores this process may use."""
    with contextlib.suppress(AttributeError):  # not on all systems
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def work_on_all(work: Callable[[T], R], things: Sequence[T], workers: int) -> Iterator[tuple[int, R | None]]:
    """Do the same work on many things.

    Args:
        work: a function of a module, since another process has to find it; what it returns should be small.
        things: what it is done on.
        workers: how many processes; with one it is done in this process.

    Yields:
        (which thing, what came of it), in the order in which they are done; None where the worker died of it.
    """
    workers = min(workers, len(things))
    if workers <= 1:
        with one_thread():
            yield from ((i, work(x)) for i, x in enumerate(things))
        return
    under_way: dict[Future[R], int] = {}
    with Workers(workers) as pool:
        for i, thing in enumerate(things):
            under_way[pool.do(_one, (work, thing), math.inf)] = i
            if len(under_way) == AHEAD * workers:
                yield from _done(under_way)
        while under_way:
            yield from _done(under_way)


def _one(order: tuple[Callable[[T], R], T], say: Say) -> R:
    work, thing = order
    return work(thing)


def _done(under_way: dict[Future[R], int]) -> Iterator[tuple[int, R | None]]:
    """What is done by now, and one at least; it is under way no more."""
    for future in wait(under_way, return_when=FIRST_COMPLETED).done:
        i = under_way.pop(future)
        try:
            yield i, future.result()
        except Untrustworthy:  # it crashed
            yield i, None


@contextlib.contextmanager
def one_thread() -> Iterator[None]:
    """OpenCV keeps to one thread meanwhile, as in a worker."""
    import cv2

    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)
