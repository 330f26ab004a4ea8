"""Sentences that remember what they were made from, so that whoever shows them can say them in another language.

A `Words` is the English sentence, and is used as such by whoever knows no better; `calib.languages` says it in others.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import partial


class Words(str):
    """A sentence, in English.

    Args:
        template: the sentence, its values in braces as `str.format` has them. The catalogues know it by this.
        values: numbers, words and other texts that stand in it. Without any, braces mean nothing.

    Attributes:
        template, values: the same.
        plural: the template for other numbers than one; empty where nothing is counted.
    """

    template: str
    values: Mapping[str, object]
    plural: str

    def __new__(cls, template: str, /, **values: object) -> Words:
        """The sentence in English."""
        return cls._made(template, "", values)

    @classmethod
    def _made(cls, template: str, plural: str, values: Mapping[str, object]) -> Words:
        chosen = plural if plural and values["n"] != 1 else template
        text = str.__new__(cls, chosen.format(**values) if values else chosen)
        text.template, text.plural, text.values = template, plural, values
        return text

    def __reduce__(self) -> tuple[object, ...]:
        """Between processes it is made anew from its parts."""
        return partial(Words._made, self.template, self.plural, dict(self.values)), ()


def counted(one: str, many: str, n: int, **values: object) -> Words:
    """A sentence about a number of things.

    Args:
        one, many: templates for one of them, and for any other number, which is their {n}.
        n: how many.
        values: whatever else stands in it.
    """
    return Words._made(one, many, {**values, "n": n})


def alternatives(texts: Sequence[str]) -> str:
    """Things of which one will do, as in a sentence."""
    if len(texts) < 2:
        return joined("", texts)
    return Words("{some} or {last}", some=joined(", ", texts[:-1]), last=texts[-1])


def both(texts: Sequence[str]) -> str:
    """Things that all belong to it, as in a sentence."""
    if len(texts) < 2:
        return joined("", texts)
    return Words("{some} and {last}", some=joined(", ", texts[:-1]), last=texts[-1])


def joined(separator: str, texts: Iterable[str]) -> str:
    """Several texts in a row, empty ones left out, each of which is still known for what it is.

    Args:
        separator: punctuation without words.
        texts: the parts.
    """
    parts = [t for t in texts if t]
    if len(parts) < 2:
        return parts[0] if parts else ""
    names = [f"part{k}" for k in range(len(parts))]
    return Words(separator.join(f"{{{name}}}" for name in names), **dict(zip(names, parts, strict=True)))
