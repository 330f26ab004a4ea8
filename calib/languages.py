"""The languages that owners and fixers are spoken to in, each a catalogue in `catalogues/` that translators can edit.

The catalogues are gettext's: each entry is an English sentence, by which a `Words` finds it, and the same in another
language. English needs none.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from calib.errors import WrongUsage
from calib.words import Words

ENGLISH = "en"
NAMES = {ENGLISH: "English", "de": "Deutsch", "fr": "Français", "es": "Español", "nl": "Nederlands"}
"""The languages by their codes (ISO 639-1), each called as it calls itself."""
CATALOGUES = Path(__file__).parent / "catalogues"
SPACED_PERCENT = ("de", "fr", "es")
"""Where a space stands before the sign (DIN 5008, Lexique de l'Imprimerie nationale, Ortografía de la RAE; from
memory)."""
LONGEST_WISH = 500
"""Characters of what a browser asks for: none writes a tenth of it."""
PAGE = ".js"
"""Sentences that stand in such files are the page's own."""


@dataclass(frozen=True, slots=True)
class Catalogue:
    """What sentences are in another language.

    Attributes:
        forms: by the English sentence, for one and for many where something is counted.
        of_page: the English sentences that the page's scripts say.
    """

    forms: Mapping[str, tuple[str, ...]]
    of_page: frozenset[str]


@cache
def catalogue(language: str) -> Catalogue:
    """The catalogue of a language other than English."""
    from babel.messages.pofile import read_po

    with open(CATALOGUES / f"{language}.po", "rb") as f:
        found = read_po(f, locale=language)
    forms: dict[str, tuple[str, ...]] = {}
    of_page = set()
    for m in found:
        one = m.id[0] if isinstance(m.id, list | tuple) else m.id
        said = [s for s in (m.string if isinstance(m.string, list | tuple) else [m.string]) if s]
        if one and said and not m.fuzzy:
            forms[one] = tuple(said)
            if any(str(path).endswith(PAGE) for path, _ in m.locations):
                of_page.add(one)
    return Catalogue(forms, frozenset(of_page))


def language_of(words: str | None) -> str:
    """The code of a language that somebody asked for by code or name; English where nobody did.

    Raises:
        WrongUsage: jawline does not speak it.
    """
    if words is None:
        return ENGLISH
    asked = words.strip().lower()
    for code, name in NAMES.items():
        if asked in (code, name.lower()):
            return code
    known = ", ".join(f"{code} ({name})" for code, name in NAMES.items())
    raise WrongUsage(f"“{words}” is no language that jawline speaks: give one of {known}.", "language")


def wished(header: str) -> str:
    """The language that a browser likes best among those spoken here; English where it likes none of them.

    Args:
        header: its Accept-Language (RFC 9110, 12.5.4): tags with weights, such as `nl-BE, fr;q=0.7`.
    """
    wishes: list[tuple[float, str]] = []
    for part in header[:LONGEST_WISH].split(","):
        tag, _, weight = part.partition(";")
        code = tag.strip().lower().split("-")[0]
        figure = weight.strip().removeprefix("q=")
        plain = figure.replace(".", "", 1)
        liked = 1.0 if not figure else float(figure) if plain.isascii() and plain.isdecimal() else 0.0
        if code in NAMES and liked > 0:
            wishes.append((liked, code))
    return max(wishes, key=lambda w: w[0], default=(0.0, ENGLISH))[1]


def said_in(language: str, text: str) -> str:
    """A text in a language; English where its catalogue lacks it, and as it stands where it is no `Words`.

    Args:
        language: its code.
        text: a sentence; a plain string is looked up as it is.
    """
    if language == ENGLISH:
        return str(text)
    if not isinstance(text, Words):
        return _form(language, text, None)
    if not text.values:
        return _form(language, text.template, None)
    n = text.values.get("n") if text.plural else None
    template = _form(language, text.template, n if isinstance(n, int) else None, text.plural)
    values = {k: said_in(language, v) if isinstance(v, Words) else v for k, v in text.values.items()}
    return _Figures(language).vformat(template, (), values)


def all_said_in(language: str, plain: Any) -> Any:
    """Plain values, all texts in them in a language; strings that are no texts, such as names, are left alone."""
    if isinstance(plain, Words):
        return said_in(language, plain)
    if isinstance(plain, Mapping):
        return {k: all_said_in(language, v) for k, v in plain.items()}
    if isinstance(plain, list | tuple):
        return [all_said_in(language, v) for v in plain]
    return plain


def page_words(language: str) -> dict[str, str | list[str]]:
    """The catalogue of the page's scripts: of each English sentence the same, or its forms for one and many."""
    if language == ENGLISH:
        return {}
    known = catalogue(language)
    return {k: list(s) if len(s := known.forms[k]) > 1 else s[0] for k in sorted(known.of_page)}


def decimal_mark(language: str) -> str:
    """What stands between a number's whole and its decimals: a comma in all the languages here but English."""
    return "." if language == ENGLISH else ","


def _form(language: str, template: str, n: int | None, plural: str = "") -> str:
    from babel import Locale

    forms = catalogue(language).forms.get(template)
    if n is None:
        return forms[0] if forms else template
    one = Locale.parse(language).plural_form(n) == "one"
    if forms is None:
        return template if n == 1 else plural
    return forms[0] if one else forms[-1]


class _Figures(string.Formatter):
    """Puts numbers into sentences as a language writes them."""

    def __init__(self, language: str) -> None:
        self.language = language

    def format_field(self, value: Any, format_spec: str) -> str:
        said = str(super().format_field(value, format_spec))
        if not isinstance(value, float):
            return said
        said = said.replace(".", decimal_mark(self.language))
        return said.replace("%", "\u00a0%") if self.language in SPACED_PERCENT else said
