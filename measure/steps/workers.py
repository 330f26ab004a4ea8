"""A few processes that look at photos, each task by itself: one that crashes or hangs takes nothing along.

A worker is started afresh (spawn) and stays warm for a number of tasks. A thread beside each hands it one task at a
time, passes on what it says meanwhile, and stops it when its time is up.
"""

from __future__ import annotations

import contextlib
import math
import multiprocessing
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from importlib import import_module
from multiprocessing.connection import Connection
from typing import Any

from calib.errors import JawlineError, Untrustworthy
from calib.messages import Message
from calib.words import Words
from measure.steps.waiting import Say, Task, Waiting, Work

ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
"""What libraries read when they are loaded: as many workers as cores leave no core for more."""
TASKS_EACH = 25
"""A worker is replaced after so many, so that what libraries hold on to does not pile up."""
BEGIN_S, LOOK_S = 60.0, 0.5
"""A new worker loads its libraries within so long; how often a thread looks whether its time is up."""
_STARTING = threading.Lock()

CRASHED = Words("Looking at this photo takes more memory than there is, or ends in a crash: try it at a smaller size.")
HUNG = Words("Looking at this photo took too long and was stopped: try it at a smaller size, or on a plainer ground.")


class Workers:
    """The processes. Use as a context: they end with it, whatever they are doing."""

    def __init__(self, count: int, ready: Callable[[], None] | None = None, memory_gb: float = math.inf) -> None:
        """Nothing is started yet.

        Args:
            count: how many.
            ready: a function of a module that each calls before its first task.
            memory_gb: what each may take, where the system can hold it to that.
        """
        self._first = (ready, memory_gb)
        self._tasks = Waiting(count)
        self._ending = threading.Event()
        self._threads = [threading.Thread(target=self._serve, daemon=True) for _ in range(count)]

    def __enter__(self) -> Workers:
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ending.set()
        self._tasks.close()
        for thread in self._threads:
            thread.join()

    def do(
        self,
        work: Work,
        order: Any,
        limit_s: float,
        say: Say = lambda said: None,
        *,
        large: bool = False,
        guest: bool = False,
    ) -> Future[Any]:
        """Have something done; what the arguments mean, `Task` says.

        Returns:
            A future of what `work` returns; it raises `JawlineError` where the work refuses, crashes or hangs.
        """
        done: Future[Any] = Future()
        self._tasks.put(Task(work, order, limit_s, say, done, large, guest))
        return done

    def _serve(self) -> None:
        """One thread's life."""
        worker = _Worker(*self._first)
        try:
            while (task := self._tasks.take()) is not None:
                if worker.done >= TASKS_EACH or not worker.alive:
                    worker.end()
                    worker = _Worker(*self._first)
                try:
                    if task.done.set_running_or_notify_cancel():  # else nobody waits for it any more
                        task.done.set_result(worker.carry_out(task, self._ending))
                except BaseException as why:
                    task.done.set_exception(why)
                finally:
                    self._tasks.finished(task)
        finally:
            worker.end()


class _Worker:
    """One process, and the near end of the pipe to it."""

    def __init__(self, ready: Callable[[], None] | None, memory_gb: float) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, far = context.Pipe()
        self._process = context.Process(target=_work, args=(far, ready, memory_gb), daemon=True)
        with _STARTING, _one_thread_each():
            self._process.start()
        far.close()
        self.done = 0

    @property
    def alive(self) -> bool:
        return self._process.is_alive()

    def carry_out(self, task: Task, ending: threading.Event) -> Any:
        """What comes of a task.

        Raises:
            JawlineError: it refuses, crashes, hangs, or the bench ends.
        """
        self.done += 1
        until = time.monotonic() + BEGIN_S
        try:
            self._pipe.send((task.work, task.order))
            while not ending.is_set():
                if time.monotonic() > until:
                    self.end()
                    raise Untrustworthy(HUNG, "too-long")
                if not self._pipe.poll(LOOK_S):
                    continue
                kind, what = self._pipe.recv()
                if kind == "begun":
                    until = time.monotonic() + task.limit_s
                elif kind == "said":
                    task.say(what)
                elif kind == "done":
                    return what
                else:
                    raise Untrustworthy.of(what)
        except (EOFError, OSError):
            self.end()
            raise Untrustworthy(CRASHED, "crashed") from None
        self.end()
        raise Untrustworthy(Words("The bench was stopped before this photo was looked at."), "stopped")

    def end(self) -> None:
        """Stop the process, whatever it is doing."""
        self._process.kill()
        self._process.join()
        self._pipe.close()


@contextlib.contextmanager
def _one_thread_each() -> Iterator[None]:
    """The libraries of a process that is started meanwhile keep to one thread."""
    before = {name: os.environ.get(name) for name in ONE_THREAD}
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _work(pipe: Connection, ready: Callable[[], None] | None, memory_gb: float) -> None:
    """A worker's whole life."""
    _begin()
    if ready:
        ready()
    _limit_memory(memory_gb)
    while True:
        try:
            work, order = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            pipe.send(("begun", None))
            answer = ("done", work(order, lambda what: pipe.send(("said", what))))
        except JawlineError as why:
            answer = ("refused", why.message)
        except MemoryError:
            answer = ("refused", Message("crashed", CRASHED))
        except Exception as why:  # one odd photo must not stop the others
            said = " ".join(str(why).split())[:120]
            text = Words("jawline was not made for this photo ({name}: {said}).", name=type(why).__name__, said=said)
            answer = ("refused", Message("unexpected", text))
        try:
            pipe.send(answer)
        except OSError:
            return


def _limit_memory(memory_gb: float) -> None:
    """This process gets no more memory than that: who asks for more is told that there is none."""
    if memory_gb == math.inf:
        return
    with contextlib.suppress(ImportError, ValueError, OSError):  # Windows has none of it; macOS does not hold to it
        resource: Any = import_module("resource")
        most = resource.getrlimit(resource.RLIMIT_DATA)[1]
        wanted = int(memory_gb * 1e9)
        resource.setrlimit(resource.RLIMIT_DATA, (wanted if most < 0 else min(wanted, most), most))


def _begin() -> None:
    """First thing in a worker: Ctrl-C is for the parent to answer, and one thread is enough."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2
    import pillow_heif

    cv2.setNumThreads(1)
    pillow_heif.options.DECODE_THREADS = 1
