"""Other languages: every sentence is there in each, with its values; and whoever asks is answered in theirs."""

from __future__ import annotations

import html
import pickle
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from markupsafe import escape
from starlette.testclient import TestClient

from calib.errors import PhotoRefused, WrongUsage
from calib.languages import NAMES, decimal_mark, language_of, said_in, wished
from calib.messages import Message
from calib.words import Words, counted, joined
from measure.bench.pages import FOLDER, templates
from measure.check.rules import RULES
from measure.guide import pdf, words
from measure.guide.html import write_html
from measure.job import job
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from tests.benches import bench
from tests.catalogues import OTHERS, VALUE, as_file, forms, has_words, kept, missing, said, updated
from tests.jobs import traced
from tests.sample_photos import FOLDER as SAMPLE

HOW = "run `python -m tests.catalogues`, then translate what it lists: DEVELOPERS.md, “let something be said”"
SENTENCES = said()


# ------------------------------------------------------------------------------------------------------- the catalogues
@pytest.mark.parametrize("language", OTHERS)
def test_every_sentence_is_there(language: str) -> None:
    assert list(missing(updated(language, SENTENCES))) == [], HOW


@pytest.mark.parametrize("language", OTHERS)
def test_a_catalogue_is_as_its_tool_writes_it(language: str) -> None:
    path = Path(__file__).parent.parent / f"calib/catalogues/{language}.po"
    assert path.read_bytes() == as_file(language, updated(language, SENTENCES)), HOW


@pytest.mark.parametrize("language", OTHERS)
def test_values_stand_in_each_translation(language: str) -> None:
    """Each as it is in English; but an article may be left to the noun."""
    wrong = []
    for message in kept(language):
        first = message.id if isinstance(message.id, str) else message.id[0]
        for form in forms(message):
            if sorted(set(VALUE.findall(form))) != sorted(set(VALUE.findall(first))):
                wrong.append(form)
    assert wrong == []


BARS = "Print it at 100 % and measure both check bars: all lengths are then much surer."


@pytest.mark.parametrize("language", NAMES)
@pytest.mark.parametrize("page", ["jobs.html", "job.html"])
def test_a_share_in_a_sentence_is_no_variable(language: str, page: str) -> None:
    """Every page can be written in every language, with its per cent signs as they are."""
    html = templates(language).get_template(page).render(in_two="", id="a", name="b", materials=[])
    assert str(escape(said_in(language, Words(BARS)))) in html
    assert "100 %" in html


@pytest.mark.parametrize("language", OTHERS)
def test_an_owner_is_never_answered_at_length_in_english(language: str) -> None:
    """What is the same in both languages is a word or two, such as “Zoom”."""
    same = [m.id for m in kept(language) if isinstance(m.id, str) and m.id == m.string and m.id.count(" ") > 2]
    assert [s for s in same if has_words(s.removesuffix(" mm"))] == []


SHORT = 12
"""Letters of what two languages may well call alike, such as “Radius”."""


def test_no_two_languages_say_a_sentence_alike() -> None:
    """As where one language's words were put into another's catalogue."""
    told = [{m.id: forms(m) for m in kept(language) if m.id} for language in OTHERS]
    for sentence in told[0]:
        said_so = [t[sentence] for t in told]
        if sum(c.isalpha() for c in VALUE.sub("", said_so[0][0])) > SHORT:
            assert all(said_so.count(x) == 1 for x in said_so), sentence


class _Seen(HTMLParser):
    """What people see of a page, or have read to them."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.hidden = False

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.hidden = tag == "script"
        shown = ("aria-label", "alt", "placeholder", "title")
        self.words += [value for name, value in attributes if name in shown and value]

    def handle_data(self, data: str) -> None:
        if not self.hidden and data.strip():
            self.words.append(" ".join(data.split()))


TYPED = r"[A-Z]\d+(-[A-Z]\d+| [A-Z]\d+)*|tight at E2|on 12; arc 5 to end"
"""Examples of what is typed in the same words in every language."""
NO_WORDS = re.compile(rf"[\W\d_]*|mm|in|DXF|SVG|jawline|· jawline|{TYPED}")


@pytest.mark.parametrize("page", sorted(p.name for p in FOLDER.glob("*.html")))
def test_no_template_says_anything_that_is_not_translated(page: str) -> None:
    """All that goes through the catalogue is put between marks; what is left without was not marked."""
    pages = templates.__wrapped__("en")  # its own: what is done to it here would stay for all tests after this one
    pages.install_gettext_callables(lambda s: f"⟦{s}⟧", lambda one, many, n: f"⟦{one}⟧", newstyle=True)
    seen = _Seen()
    seen.feed(pages.from_string((FOLDER / page).read_text()).render(name="", id="x", title="", text="", in_two="x"))
    bare = [w for w in seen.words if "⟦" not in w and not NO_WORDS.fullmatch(w)]
    assert bare == [], f"wrap it in {{{{ _(…) }}}}; {HOW}"


@pytest.mark.parametrize("language", NAMES)
def test_the_pages_say_every_sentence_of_theirs_as_it_stands(language: str) -> None:
    """To the letter, signs such as % included, whatever stands behind them."""
    pages = templates(language)
    words = {"name": "", "id": "x", "title": "", "text": "", "in_two": "x"}
    whole = " ".join(pages.get_template(p.name).render(words) for p in FOLDER.glob("*.html"))
    shown = re.sub(r"[ \n]+", " ", html.unescape(whole))
    theirs = [m.id for m in SENTENCES if any(str(path).endswith(".html") for path, _ in m.locations)]
    assert [s for s in theirs if isinstance(s, str) and said_in(language, s) not in shown] == []


# ------------------------------------------------------------------------------------------------------------ sentences
def test_a_sentence_is_english_and_remembers_what_it_was_made_from() -> None:
    words = Words("The photo is larger than {upload_mb:g} MB: send it as a JPEG.", upload_mb=2.5)
    assert words == "The photo is larger than 2.5 MB: send it as a JPEG."
    assert said_in("de", words) == "Das Foto ist größer als 2,5 MB: Schicken Sie es als JPEG."
    assert said_in("de", pickle.loads(pickle.dumps(words))) == said_in("de", words)
    assert said_in("en", words) == str(words)
    assert said_in("nl", "a job called so") == "a job called so"


def test_braces_that_somebody_wrote_are_no_values() -> None:
    words = Words("There is no {words} in the photo; lay one flat, all of it in the picture.", words="{0} {x!r}")
    assert "{0} {x!r}" in said_in("fr", words)
    assert Words("{not a value}") == "{not a value}"


@pytest.mark.parametrize(("language", "share"), [("de", "35\u00a0%"), ("nl", "35%"), ("fr", "35\u00a0%")])
def test_shares_are_written_as_usual(language: str, share: str) -> None:
    rule = next(r for r in RULES if r.code == "shadow")
    assert share in said_in(language, Words(rule.text, value=0.35))


def test_what_is_counted_takes_the_form_of_the_number() -> None:
    assert said_in("de", counted("{n} job", "{n} jobs", 1)) == "1 Auftrag"
    assert said_in("de", counted("{n} job", "{n} jobs", 0)) == "0 Aufträge"
    assert said_in("fr", counted("{n} job", "{n} jobs", 0)) == "0 travail"  # French counts nought as one
    assert counted("{n} job", "{n} jobs", 3) == "3 jobs"


def test_a_message_is_said_whole_in_another_language() -> None:
    message = Message(
        "kept", Words("Only one piece is found, not two"), (Words("lay one there"), Words("lay a card beside the part"))
    )
    assert said_in("nl", message.text) == (
        "Er is maar één stuk te vinden, geen twee: leg er een neer of leg een pasje naast het onderdeel."
    )
    named = message.after("a.jpg: ")
    assert said_in("nl", named.text).startswith("a.jpg: Er is maar")
    why = PhotoRefused(Words("The request is too large."), "large")
    assert said_in("es", why.text) == "La solicitud es demasiado grande."


def test_texts_in_a_row_are_each_said() -> None:
    row = joined(" ", [Words("The photo is missing."), "", Words("The request is too large.")])
    assert said_in("de", row) == "Das Foto fehlt. Die Anfrage ist zu groß."


# --------------------------------------------------------------------------------------------------------------- choice
@pytest.mark.parametrize(
    ("header", "language"),
    [
        ("de-AT,de;q=0.9,en;q=0.5", "de"),
        ("en;q=0.3, fr-CH;q=0.8", "fr"),
        ("pt-BR, es;q=0.4", "es"),
        ("nl", "nl"),
        ("ja", "en"),
        ("", "en"),
        ("de;q=0, en", "en"),
        ("fr;q=banana, de;q=0.2", "de"),
        ("fr;q=0.1,de;q=0.1", "fr"),
        ("," * 9000 + "de", "en"),
    ],
)
def test_the_browser_chooses(header: str, language: str) -> None:
    assert wished(header) == language


def test_a_language_is_asked_for_by_code_or_name() -> None:
    assert [language_of(w) for w in ("DE", "français", " nl ", None)] == ["de", "fr", "nl", "en"]
    with pytest.raises(WrongUsage, match="no language that jawline speaks"):
        language_of("tlh")
    assert {decimal_mark(code) for code in NAMES if code != "en"} == {","}


@pytest.mark.parametrize(("language", "head"), [("de", "Schicken Sie uns ein Foto"), ("es", "Envíenos una foto")])
def test_the_owners_page_is_in_the_browsers_language(tmp_path: Path, language: str, head: str) -> None:
    with bench(tmp_path, intake=True) as client:
        page = client.get("/intake", headers={"Accept-Language": language})
        assert f'<html lang="{language}">' in page.text
        assert head in page.text
        assert page.headers["vary"] == "Accept-Language"
        assert "Send us a photo" in client.get("/intake").text


@pytest.mark.parametrize("language", NAMES)
def test_the_guide_keeps_room_between_its_steps(monkeypatch: pytest.MonkeyPatch, language: str) -> None:
    left: list[float] = []
    fitting = pdf._fitting
    monkeypatch.setattr(pdf, "_fitting", lambda *a: left.append(fitting(*a)[2]) or fitting(*a))
    assert pdf.write_pdf(language).startswith(b"%PDF")
    assert left[0] >= pdf.LEAST_BETWEEN_MM
    page = write_html(language).decode()
    assert f'<html lang="{language}">' in page
    assert (words.TITLE in page) == (language == "en")


def _sent(client: TestClient, language: str) -> dict[str, object]:
    form = {"photo": ("a.tif", b"II*\0" + bytes(60))}
    answer = client.post("/api/intake", files=form, headers={"X-Jawline": "1", "Accept-Language": language})
    return dict(answer.json())


def test_a_refusal_is_in_the_browsers_language_and_one_bench_speaks_several(tmp_path: Path) -> None:
    with bench(tmp_path, intake=True) as client:
        said_to = {code: str(_sent(client, code)["error"]["text"]) for code in NAMES}  # type: ignore[index]
        assert len(set(said_to.values())) == len(NAMES)
        assert said_to["fr"].startswith("La photo\u00a0: fichier abîmé")


def test_an_owner_is_replied_to_in_their_language(tmp_path: Path) -> None:
    with bench(tmp_path, workers=1, intake=True) as client:
        photo = (SAMPLE / "photo.jpg").read_bytes()
        headers = {"X-Jawline": "1", "Accept-Language": "nl"}
        answer = client.post("/api/intake", files={"photo": ("p.jpg", photo)}, headers=headers).json()
        assert answer["kept"]
        assert str(answer["reply"]).startswith("Dank u voor de foto")
        assert not any("The part" in r["text"] or "thickness" in r["text"] for r in answer["reasons"])


def test_a_bench_that_was_told_a_language_speaks_it_to_everybody(tmp_path: Path) -> None:
    with bench(tmp_path, intake=True, language="fr") as client:
        assert '<html lang="fr">' in client.get("/intake", headers={"Accept-Language": "de"}).text


def test_a_sketch_is_in_the_language_that_was_asked_for_and_the_jobs_files_stay_as_they_are(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60,0"])
    reconcile(folder)
    measured = (folder / job.MEASURED).read_bytes()
    sketch(folder, language="de")
    svg = (folder / job.SKETCHES[1]).read_text()
    assert "Skizze eines Teils, nach einem Foto" in svg
    assert "Dimensions in mm" not in svg
    assert ">Name<" in svg
    assert re.search(r">\d+,\d\d<", svg)
    assert (folder / job.MEASURED).read_bytes() == measured
    with bench(tmp_path) as client:
        drawn = {
            code: client.get("/api/jobs/plate/sketch.svg", headers={"Accept-Language": code}) for code in ("en", "nl")
        }
        assert "Schets van een onderdeel" in drawn["nl"].text
        assert "Sketch of a part" in drawn["en"].text
        assert drawn["nl"].headers["etag"] != drawn["en"].headers["etag"]
