"""A small part of `tests.fuzz`, by its seed the same in every run."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.fuzz.__main__ import fuzzed, killed, machine
from tests.fuzz.kills import Killed

LATER = float("inf")


@pytest.mark.skipif(not hasattr(sys, "getdlopenflags"), reason="processes are forked, which Windows has not")
def test_processes_killed_in_the_middle_lose_nothing() -> None:
    found = killed(8, 7, LATER)
    assert found.kills >= 8
    assert found.acknowledged > 0
    assert (found.lost, found.left, found.damaged) == (0, 0, 0)
    assert isinstance(found, Killed)


def test_odd_inputs_are_taken_or_refused_in_a_sentence() -> None:
    found = fuzzed(3000, 11, LATER)
    assert not [d for t in found.values() for d in t.defects]
    assert sum(t.taken for t in found.values()) > 300, "hardly anything good is left in what is tried"
    assert sum(t.refused for t in found.values()) > 300


@pytest.mark.skipif(not hasattr(sys, "getdlopenflags"), reason="processes are forked, which Windows has not")
def test_a_job_survives_whatever_is_done_to_it_in_any_order(tmp_path: Path) -> None:
    assert machine(6, 15, 3) == 6
