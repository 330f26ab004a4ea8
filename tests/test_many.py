"""Work in several processes: all comes back once, a dying worker takes nothing else with it, memory is bounded."""

from __future__ import annotations

import os
import signal
from collections.abc import Sequence
from typing import Any

import cv2

from measure.steps.many import AHEAD, cores, work_on_all


def doubled(x: int) -> tuple[int, int, int]:
    return 2 * x, os.getpid(), cv2.getNumThreads()


def dies_of_seven(x: int) -> int:
    if x == 7:
        os.kill(os.getpid(), signal.SIGKILL)
    return 2 * x


def test_one_process_is_this_one() -> None:
    found = dict(work_on_all(doubled, [5, 6], 1))
    assert {k: v[0] for k, v in found.items() if v} == {0: 10, 1: 12}
    assert all(v and v[1:] == (os.getpid(), 1) for v in found.values())
    assert cv2.getNumThreads() != 1 or cores() == 1


def test_all_comes_back_from_single_threaded_workers_whatever_one_of_them_dies_of() -> None:
    found = list(work_on_all(dies_of_seven, range(12), 2))
    assert sorted(found, key=lambda p: p[0]) == [(k, None if k == 7 else 2 * k) for k in range(12)]
    threads = [v for _, v in work_on_all(doubled, range(4), 2)]
    assert all(v and v[1] != os.getpid() and v[2] == 1 for v in threads)
    assert "OMP_NUM_THREADS" not in os.environ or os.environ["OMP_NUM_THREADS"] == BEFORE.get("OMP_NUM_THREADS")


class Watched(Sequence[int]):
    """Numbers that count how many of them were asked for."""

    taken = 0

    def __len__(self) -> int:
        return 20

    def __getitem__(self, i: Any) -> Any:
        if i >= len(self):
            raise IndexError
        self.taken += 1
        return i


def test_little_is_handed_out_at_a_time() -> None:
    things = Watched()
    going = work_on_all(doubled, things, 2)
    next(going)
    assert things.taken == 2 * AHEAD
    going.close()


BEFORE = dict(os.environ)
