"""Whether a text that should be in German has English in it, by the catalogue's own words."""

from __future__ import annotations

import re
from functools import cache

from tests.catalogues import forms, kept

RUN = 2
"""So many words in a row that only English has are English: one may be a name or a command's word."""
_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?")


@cache
def only_english() -> frozenset[str]:
    """Words of English sentences that stand in no German one; what is typed alike in all languages stands in both."""
    english, german = set(), set()
    for message in kept("de"):
        ids = message.id if isinstance(message.id, list | tuple) else [message.id or ""]
        english |= {w.lower() for text in ids for w in _WORD.findall(re.sub(r"\{.*?\}", "", text))}
        german |= {w.lower() for text in forms(message) for w in _WORD.findall(re.sub(r"\{.*?\}", "", text))}
    return frozenset(english - german)


def english_in(text: str) -> list[str]:
    """The places in a text where so many English words stand in a row."""
    out, run = list[str](), list[str]()
    for piece in (*re.findall(r"[^\s,;:()–—]+|[,;:()–—\n]", text), "\n"):
        words = _WORD.findall(piece)
        if words and all(w.lower() in only_english() for w in words):
            run.append(piece)
            continue
        if len(run) >= RUN:
            out.append(" ".join(run))
        run = []
    return out
