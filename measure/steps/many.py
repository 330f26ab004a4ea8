"""The same work on many things, in several processes: lazily, in bounded memory, and whatever becomes of one of them.

Workers are started afresh (spawn), each with one thread, since as many workers as cores leave no core for more. No
more than a few things are handed out at a time, so that memory grows with the workers and not with the work. A worker
that dies takes down the pool it is in; what it may have died of is then tried once more, each thing by itself.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
AHEAD = 2
"""How many things are handed out for each worker, so that none of them waits."""


def cores() -> int:
    """How many cores this process may use."""
    with contextlib.suppress(AttributeError):  # not on all systems
        return max(1, len(os.sched_getaffinity(0)))
    return os.cpu_count() or 1


def worked(work: Callable[[T], R], things: Sequence[T], workers: int) -> Iterator[tuple[int, R | None]]:
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
    waiting = list(range(len(things)))[::-1]
    while waiting:
        lost: list[int] = []
        yield from _pooled(work, things, waiting, workers, lost)
        for i in lost:
            alone: list[int] = []
            yield from _pooled(work, things, [i], 1, alone)
            if alone:
                yield i, None


def _pooled(
    work: Callable[[T], R], things: Sequence[T], waiting: list[int], workers: int, lost: list[int]
) -> Iterator[tuple[int, R | None]]:
    """One pool's life: takes from the end of `waiting`; puts into `lost` what was under way when a worker died."""
    under_way: dict[Future[R], int] = {}
    with _pool(workers) as pool:
        try:
            while waiting or under_way:
                while waiting and len(under_way) < AHEAD * workers:
                    under_way[pool.submit(work, things[waiting[-1]])] = waiting[-1]
                    waiting.pop()
                for future in wait(under_way, return_when=FIRST_COMPLETED).done:
                    result = future.result()
                    yield under_way.pop(future), result
        except BrokenProcessPool:
            for future, i in under_way.items():
                if future.done() and not future.cancelled() and future.exception() is None:
                    yield i, future.result()
                else:
                    lost.append(i)


@contextlib.contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """A pool of single-threaded workers; what was not begun when it is left is not begun any more."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))  # read when a worker loads its libraries
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context("spawn"), initializer=begin)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def begin() -> None:
    """First thing in a worker: Ctrl-C is for the parent to answer, and one thread is enough."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2
    import pillow_heif

    cv2.setNumThreads(1)
    pillow_heif.options.DECODE_THREADS = 1


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
