"""What is said to people, as values: a code, what is the matter, and what can be done about it.

What can be done is the same for everybody (“take the photo again”) or has another name on the command line than on the
page (`Remedy`). Whoever shows a message phrases those; no text is ever taken apart to do so.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, TypeVar

from calib.words import Words, joined
from calib.written import printable, shortened

LONGEST = 1500
"""Characters of a sentence: it quotes what somebody wrote, who may have written megabytes."""

Do = Literal[
    "trace-in-two",  # join the two pieces that lie there
    "trace-in-one",  # don't
    "trace-parts",  # each of several parts in one photo as a job of its own
    "name-reference",  # say which reference it is: `of` its name, or empty where nobody knows
    "no-lens",  # give no lens profile
    "print-sheet",  # the printed reference
    "measure-bars",  # of the printed sheet
    "give-thickness",
    "tell-rim",  # whether the upper edge is rounded
    "zero-thickness",  # go on without it
    "read-thickness",  # take it in as a reading
    "overwrite",  # a file that is a person's own
    "keep-all-the-same",  # a reading that contradicts the others
    "other-folder",
    "make-job",  # `of` its folder
    "mark-break",  # where a part may be broken: `of` first and last label
    "run-first",  # a step: `of` its name, and what else belongs to it
    "run-again",
    "printer-figures",  # `of` the printer's name
]


@dataclass(frozen=True, slots=True)
class Remedy:
    """Something to be done that has a name of its own wherever it can be done.

    Attributes:
        do: what.
        of: what it is done to or with, where that is needed.
    """

    do: Do
    of: str = ""


Phrase = Callable[[Remedy], str | None]
"""What a remedy is called in some place; None where it can't be done there."""

M = TypeVar("M", bound="Message")


@dataclass(frozen=True, slots=True)
class Message:
    """What is the matter, and what can be done about it.

    Attributes:
        code: a short stable word.
        what: a sentence; without its full stop where remedies follow. Empty where there is nothing to tell.
        remedies: ways out, any one of which will do; those in plain words are the same for everybody.
    """

    code: str
    what: str
    remedies: tuple[str | Remedy, ...] = ()

    def said(self, phrase: Phrase) -> str:
        """The whole as one sentence, printable and not endless."""
        named = [r if isinstance(r, str) else phrase(r) for r in self.remedies]
        ways = [words for words in named if words]
        text = joined(": ", (self.what, either(ways)))
        if self.remedies and not text.endswith((".", "?")):
            text = Words("{said}.", said=text)
        tidy = " ".join(text.split())
        return shortened(printable(text if tidy == text else tidy), LONGEST)

    @property
    def text(self) -> str:
        """The sentence for where nobody can do anything but what everybody can."""
        return self.said(lambda _: None)

    def after(self: M, words: str) -> M:
        """The same with something before it, such as the name of a file."""
        return replace(self, what=joined("", (words, self.what)))


def either(ways: Sequence[str]) -> str:
    """One or another of several things, as in a sentence."""
    return (
        Words("{some}, or {last}", some=joined(", ", ways[:-1]), last=ways[-1]) if len(ways) > 1 else joined("", ways)
    )
