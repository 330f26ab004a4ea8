"""What remedies are called on the pages, where nobody types commands, and where owners can set nothing."""

from __future__ import annotations

from calib.messages import Do, Remedy
from calib.words import Words

IN_TWO = Words("It is broken in two pieces")
"""What the page calls a trace of two pieces; the template has it from here."""

_WORDS: dict[Do, str] = {
    "trace-in-two": Words("if they are one part broken in two, tick “{in_two}” and trace again", in_two=IN_TWO),
    "trace-parts": Words("touch each under “Several parts in this photo”"),
    "trace-in-one": Words("leave “{in_two}” unticked for a part in one piece", in_two=IN_TWO),
    "measure-bars": Words("take a long reading with the caliper each way, all lengths are then much surer"),
    "give-thickness": Words("measure it with the caliper and write it in millimetres, such as 4.2"),
    "tell-rim": Words("say whether the upper edge is rounded, and trace again"),
    "zero-thickness": Words("write 0 to go on without it, with wider uncertainties"),
    "read-thickness": Words("take it in as a reading"),
    "mark-break": Words("say so where the page asks"),
    "printer-figures": Words("they are made by a test piece: look under “Your printer”"),
}
_STEPS = {
    "trace": Words("trace the photo again"),
    "reconcile": Words("take a reading, and try again"),
    "next": Words("make a worksheet first"),
    "trial": Words("say first how a trial print went"),
}
"""What makes the files of a step, by the step."""


def on_page(remedy: Remedy) -> str | None:
    """What the fixer does there; None for what only a command does."""
    if remedy.do in ("run-first", "run-again"):
        return _STEPS.get(remedy.of.split()[0])
    return _WORDS.get(remedy.do)


def for_owner(remedy: Remedy) -> str | None:
    """Nothing: what an owner can do is said in plain words."""
    return None
