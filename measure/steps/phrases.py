"""What remedies are called on the command line."""

from __future__ import annotations

from calib.messages import Do, Remedy

_WORDS: dict[Do, str] = {
    "trace-in-two": "if they are one part broken in two, trace it with --fragments 2",
    "trace-parts": "trace each into a job of its own with --parts and their number",
    "trace-in-one": "leave out --fragments for a part in one piece",
    "name-reference": "say --reference {of} if it is one",
    "no-lens": "leave --lens out",
    "print-sheet": "print one with `jawline target`",
    "measure-bars": "measure both and give them as --bar-x and --bar-y, all lengths are then much surer",
    "give-thickness": "measure it with the caliper and give it as --thickness 4.2",
    "tell-rim": "say which with --rim sharp, little or clear, all sizes are then surer",
    "zero-thickness": "give --thickness 0 to go on without it, with wider uncertainties",
    "read-thickness": "take it in as a reading (jawline read JOB thickness 4.2)",
    "overwrite": "overwrite it with --force",
    "keep-all-the-same": "keep it all the same with --force",
    "other-folder": "choose another folder",
    "make-job": "make one with `jawline trace PHOTO --job {of}`",
    "mark-break": "say so with --broken {of}",
    "run-first": "run `jawline {of}` first",
    "run-again": "run `jawline {of}` again",
    "printer-figures": "make them with `jawline printer {of} --coupon`",
}


def on_command_line(remedy: Remedy) -> str | None:
    """The option or command that does it."""
    if remedy == Remedy("name-reference"):
        return "say with --reference what it is"
    words = _WORDS.get(remedy.do)
    return words.format(of=remedy.of) if words else None
