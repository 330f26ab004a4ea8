"""The catalogues of other languages, brought up to date with the sentences that the program says.

`python -m tests.catalogues` puts what is new into each with an empty translation, takes out what is no longer said, and
lists what is to be translated. Sentences are found by how they are marked: `Words(…)` and `counted(…)` in Python,
`{% trans %}` and `_(…)` in the page's templates, `t(…)` and `counted(…)` in its scripts.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po

from calib.languages import CATALOGUES, ENGLISH, NAMES

ROOT = Path(__file__).parent.parent
OTHERS = tuple(code for code in NAMES if code != ENGLISH)
SAID_IN = (
    ("**.py", "python", {}, {"Words": None, "counted": (1, 2)}),
    (
        "**/templates/**.html",
        "jinja2",
        {"trimmed": "true", "silent": "false"},
        {"_": None, "gettext": None, "ngettext": (1, 2)},
    ),
    ("**/static/**.js", "javascript", {"parse_template_string": "true"}, {"t": None, "counted": (1, 2)}),
)
"""Which files, how they are read, and by which names the sentences in them are marked."""
VALUE = re.compile(r"\{[^{}]*\}|%\(\w+\)s")
HEADER = """msgid ""
msgstr ""
"Language: {language}\\n"
"Plural-Forms: nplurals=2; plural={plural};\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=utf-8\\n"
"Content-Transfer-Encoding: 8bit\\n"

"""
WIDTH = 110


def has_words(sentence: str) -> bool:
    """Whether there is anything to translate: `{words}: {ways}` has nothing."""
    return bool(re.search(r"[^\W\d_]", VALUE.sub("", sentence)))


def said() -> Catalog:
    """Every sentence that the program says, with the files that say it."""
    found = Catalog()
    for package in ("calib", "measure"):
        for files, method, options, marks in SAID_IN:
            for path in sorted((ROOT / package).glob(files.replace("**.", "**/*."))):
                if not any(f"{mark}(" in path.read_text("utf-8") for mark in marks) and method == "python":
                    continue  # most say nothing, and to read them as Python takes long
                for _, words, _, _ in extract_from_file(method, path, marks, options=options):
                    if has_words(words[0] if isinstance(words, tuple) else words):
                        found.add(words, locations=[(path.relative_to(ROOT).as_posix(), 1)])
    return found


def kept(language: str) -> Catalog:
    """A catalogue as it stands; an empty one where there is none yet."""
    path = CATALOGUES / f"{language}.po"
    with io.BytesIO(path.read_bytes() if path.is_file() else b"") as f:
        return read_po(f, locale=language)


def updated(language: str, sentences: Catalog) -> Catalog:
    """A catalogue with every sentence that is said and no other."""
    out = kept(language)
    out.update(sentences, no_fuzzy_matching=True)
    out.obsolete.clear()
    return out


def as_file(language: str, catalogue: Catalog) -> bytes:
    """A catalogue as its file, in the order of the English sentences."""
    out = io.BytesIO()
    write_po(out, catalogue, WIDTH, omit_header=True, sort_output=True, include_lineno=False)
    many = "(n > 1)" if language == "fr" else "(n != 1)"
    return HEADER.format(language=language, plural=many).encode() + out.getvalue()


def forms(message: Message) -> list[str]:
    """What is said, for one and for many where something is counted."""
    return list(message.string) if isinstance(message.string, list | tuple) else [message.string or ""]


def missing(catalogue: Catalog) -> Iterator[str]:
    """The sentences that a catalogue does not translate, or only doubtfully."""
    for message in catalogue:
        if message.id and (not all(forms(message)) or message.fuzzy):
            yield message.id if isinstance(message.id, str) else message.id[0]


def main() -> None:
    """Bring all catalogues up to date and list what is missing."""
    sentences = said()
    for language in OTHERS:
        now = updated(language, sentences)
        (CATALOGUES / f"{language}.po").write_bytes(as_file(language, now))
        lacking = list(missing(now))
        print(f"{language}: {len(now)} sentences, {len(lacking)} to be translated")
        for sentence in lacking:
            print(f"    {sentence}")


if __name__ == "__main__":
    main()
