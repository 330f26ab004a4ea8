"""Messages are values: what is wrong, and what can be done, which every place phrases by itself."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

import pytest

from calib.errors import ReadingsRefused, WrongUsage
from calib.messages import LONGEST, Do, Message, Remedy
from measure.bench.phrases import on_page
from measure.steps.phrases import on_command_line

ROOT = Path(__file__).parent.parent
COMMAND = re.compile(r"(?<![\w-])--[a-z]|`jawline")
SAYS_COMMANDS = (
    "measure/cli",  # the command line itself, and the steps, which are what it does: their lines are its own
    "measure/steps",
    "measure/bench/serve.py",  # said where the bench was started
    "measure/drawing/target_pdf.py",  # printed on the sheet, beside its bars
    "measure/printing/advice.py",  # the table of a command
)


def strings(path: Path) -> Iterator[str]:
    """Every string of a module but its docstrings."""
    tree = ast.parse(path.read_text())
    docs = {id(n.value) for n in ast.walk(tree) if isinstance(n, ast.Expr) and isinstance(n.value, ast.Constant)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


def test_only_the_command_line_names_its_options_and_commands() -> None:
    modules = [p for package in ("calib", "measure") for p in (ROOT / package).rglob("*.py")]
    named = {str(p.relative_to(ROOT)): [s for s in strings(p) if COMMAND.search(s)] for p in modules}
    assert any(named["measure/steps/phrases.py"]), "the pattern finds nothing"
    assert {k: v for k, v in named.items() if v and not k.startswith(SAYS_COMMANDS)} == {}


def refusals(path: Path) -> Iterator[str]:
    """Every string in what a module raises."""
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Raise) and node.exc is not None:
            yield from (n.value for n in ast.walk(node.exc) if isinstance(n, ast.Constant) and isinstance(n.value, str))


def test_a_step_that_the_page_asks_for_refuses_without_naming_an_option() -> None:
    """Those that only a command takes are left out."""
    commands = {"target.py", "guide.py", "draw.py", "revisions.py"}
    steps = [p for p in (ROOT / "measure" / "steps").glob("*.py") if p.name not in commands]
    named = {p.name: [s for s in refusals(p) if COMMAND.search(s)] for p in steps}
    assert {k: v for k, v in named.items() if v} == {}


@pytest.mark.parametrize("do", get_args(Do))
def test_every_remedy_has_words_on_the_command_line_and_none_of_its_words_on_the_page(do: Do) -> None:
    remedy = Remedy(do, "trace PHOTO")
    assert on_command_line(remedy)
    assert not COMMAND.search(on_page(remedy) or "")


def test_ways_out_are_listed_and_those_that_a_place_has_not_are_left_out() -> None:
    message = Message("kept", "It is there already", (Remedy("other-folder"), "move it away", Remedy("overwrite")))
    assert message.said(on_command_line) == (
        "It is there already: choose another folder, move it away, or overwrite it with --force."
    )
    assert message.said(on_page) == message.text == "It is there already: move it away."
    assert Message("kept", "It is there already", (Remedy("overwrite"),)).text == "It is there already."
    assert Message("none", "").text == ""


def test_an_error_keeps_its_parts_and_is_one_line_whatever_it_quotes() -> None:
    why = ReadingsRefused("value \x1b[2J is\nno number", "value", "write 24.31").after("a.csv: ")
    assert isinstance(why, ReadingsRefused)
    assert (why.text, str(why), why.code) == ("a.csv: value ?[2J is no number: write 24.31.", why.text, "value")
    assert len(WrongUsage("x" * 10**6, "long").text) == LONGEST
    assert WrongUsage.of(why.message).said(on_page) == why.text
