"""The pages' templates, each in the language of whoever asked."""

from __future__ import annotations

from functools import cache, partial
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, select_autoescape

from calib.languages import decimal_mark, page_words, said_in
from calib.words import counted

FOLDER = Path(__file__).parent / "templates"


@cache
def templates(language: str) -> Environment:
    """The templates, whose sentences are said in a language, and figures written; the scripts say `page_words`."""
    pages = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=select_autoescape(("html",)),
        extensions=["jinja2.ext.i18n"],
    )
    pages.policies["ext.i18n.trimmed"] = True
    say = partial(said_in, language)
    pages.install_gettext_callables(  # type: ignore[attr-defined]
        say,
        lambda one, many, n: say(counted(one, many, n)),
        newstyle=False,  # the new one takes each % for a variable
    )
    pages.filters["figure"] = lambda written: written.replace(".", decimal_mark(language))
    pages.globals |= {"language": language, "page_words": page_words(language)}
    return pages
