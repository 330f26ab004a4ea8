"""The pages' own words where a sentence made for the command line would have a person type an option or a command."""

from __future__ import annotations

import re

IN_TWO = "It is broken in two pieces"
"""What the page calls a trace of two pieces; the template has it from here."""

_INSTEAD = tuple(
    (re.compile(pattern), words)
    for pattern, words in (
        (r"trace (it|both) with --fragments 2", f"tick “{IN_TWO}” and trace again"),
        (r"leave out --fragments for a part in one piece", f"leave “{IN_TWO}” unticked for a part in one piece"),
        (r"say --reference \S+ if it is one, or lay a card", "lay a card"),
        (r"(choose another folder, )?move it away( to keep it)?, or overwrite it with --force", "move it away"),
        (r"measure both and give them as --bar-x and --bar-y", "take a long reading with the caliper each way"),
        (r"needs `jawline trace` again", "needs the photo traced again"),
        (r"take it in as a reading \(jawline read JOB thickness [\d.]+\)", "take it in as a reading"),
        (r"run `jawline trace( PHOTO)?` (again|first)", "trace the photo again"),
        (r"run `jawline reconcile[^`]*` (again|first)", "take a reading, and try again"),
        (r"make them with `jawline printer [^`]*`", "they are made by the command `jawline printer`"),
    )
)
_NOT_FOR_OWNERS = re.compile(r", or, if they are one part broken in two, trace it with --fragments 2")


def for_owner(text: str) -> str:
    """A sentence as the owners' page says it, where nothing can be set.

    Args:
        text: why a photo can't be measured, or what is the matter with it.
    """
    return for_page(_NOT_FOR_OWNERS.sub("", text))


def for_page(text: str) -> str:
    """A sentence as the page says it.

    Args:
        text: of a refusal or a caution.
    """
    for pattern, words in _INSTEAD:
        text = pattern.sub(words, text)
    return text
