"""Advice for parts that a printer serves badly: words, synonyms, cautions."""

from __future__ import annotations

import json

import pytest

from measure.cli.app import app
from measure.cli.run import run
from measure.printing import advice
from measure.printing.light_parts import LIGHT_PARTS


def test_words_mean_one_thing_each() -> None:
    words = [w for a in advice.ADVICE.values() for w in (a.word, *a.others)]
    assert len(words) == len(set(words))
    assert all(w == w.lower() for w in words)


def test_every_piece_of_advice_says_why_what_and_mind() -> None:
    for a in advice.ADVICE.values():
        assert len(a.instead) >= 3
        assert a.why.endswith(".")
        assert a.caution.endswith(".")


def test_order_and_synonyms() -> None:
    found, unknown = advice.advice_for(["--Hot", "kitchen", "heat", "tiny", "blue"])
    assert [a.word for a in found] == ["hot", "food", "thin"]
    assert unknown == ["blue"]


def test_the_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(app, ["advice", "hot", "thread"]) == 0
    out, err = capsys.readouterr()
    assert out.index("hot: ") < out.index("thread: ")
    assert "seal: " not in out
    assert LIGHT_PARTS in err
    assert run(app, ["advice"]) == 0
    out = capsys.readouterr().out
    assert all(f"  {word} " in out for word in advice.ADVICE)
    assert run(app, ["advice", "food", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [a["word"] for a in told["advice"]] == ["food"]
    assert told["caution"] == LIGHT_PARTS
    assert run(app, ["advice", "blue"]) == 2
    assert "bend, hot, food" in capsys.readouterr().err
