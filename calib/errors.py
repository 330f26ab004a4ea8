"""Everything that can go wrong on purpose, in one tree.

JawlineError                 a sentence for people: what is wrong and what to do
├── Untrustworthy            exit 1: the photo or the readings can't be trusted, no sketch is written
│   ├── PhotoRefused         not a photo, truncated, too large, too small
│   ├── ReferenceRefused     no card, a look-alike, two cards, cut off, bent, too oblique
│   ├── PartRefused          no part, touches the card or the frame's edge
│   ├── ReadingsRefused      a readings file that can't be understood
│   └── JobRefused           a job folder that is damaged, half-written or of another schema
└── WrongUsage               exit 2: a path, folder or option that can't be used
"""

from __future__ import annotations

from typing import TypeVar

from calib.messages import Message, Phrase, Remedy

E = TypeVar("E", bound="JawlineError")


class JawlineError(Exception):
    """Base of all refusals.

    Args:
        what: one clear sentence that says what is wrong, and what to do about it where that is the same for everybody.
        code: a short stable word for scripts, such as ``"no-reference"``.
        remedies: what to do about it, any of which will do; the sentence comes without its full stop then.
    """

    exit_code = 1

    def __init__(self, what: str, code: str, *remedies: str | Remedy) -> None:
        self.message = Message(code, what, remedies)
        super().__init__(self.message.text)

    @classmethod
    def of(cls: type[E], message: Message) -> E:
        """What a computation that failed has to say, as an error."""
        return cls(message.what, message.code, *message.remedies)

    @property
    def code(self) -> str:
        """The short word."""
        return self.message.code

    @property
    def text(self) -> str:
        """The sentence, with what everybody can do and nothing else."""
        return self.message.text

    def said(self, phrase: Phrase) -> str:
        """The sentence as it is said where remedies have these names."""
        return self.message.said(phrase)

    def after(self: E, words: str) -> E:
        """The same with something before it, such as the name of a file."""
        return self.of(self.message.after(words))


class Untrustworthy(JawlineError):
    """The photo or the readings can't be trusted."""


class PhotoRefused(Untrustworthy):
    """The file is not a photo that can be measured."""


class ReferenceRefused(Untrustworthy):
    """There is no reference in the photo that a scale could be taken from."""


class PartRefused(Untrustworthy):
    """The part can't be told from what surrounds it."""


class ReadingsRefused(Untrustworthy):
    """The readings can't be understood."""


class JobRefused(Untrustworthy):
    """The job folder is damaged or not one that this version reads."""


class WrongUsage(JawlineError):
    """The command can't be carried out as it was given."""

    exit_code = 2
