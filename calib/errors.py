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

from calib.written import printable, shortened

LONGEST = 1500
"""Characters of a sentence: it quotes what somebody wrote, who may have written megabytes."""


class JawlineError(Exception):
    """Base of all refusals.

    Args:
        text: one clear sentence that says what is wrong and what to do about it. What it quotes may hold anything: the
            sentence is printable and not endless.
        code: a short stable word for scripts, such as ``"no-reference"``.
    """

    exit_code = 1

    def __init__(self, text: str, code: str) -> None:
        text = shortened(printable(" ".join(text.split())), LONGEST)
        super().__init__(text)
        self.text = text
        self.code = code


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
