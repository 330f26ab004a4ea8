"""Whatever the bench answers a German fixer is in German: states, refusals, what is made; no photo is traced for it."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
from starlette.testclient import TestClient

from calib.languages import said_in
from calib.words import Words
from measure.bench import tasks
from measure.bench.answers import ASKED
from measure.bench.events import Bell
from measure.bench.phrases import on_page
from measure.job import job, records
from measure.job.told import Told, told, told_again
from measure.steps.reconcile import reconcile
from measure.tracing.stages import Stage
from tests.benches import awaited, bench, plate, width
from tests.english import english_in, only_english

GERMAN = {"Accept-Language": "de-AT,de;q=0.9"}
NOT_SAID = {"url", "id", "name", "kind", "path", "features", "code", "state", "subject", "thumbnail", "said"}
"""Keys whose values nobody reads: codes, addresses, labels."""


def sentences(plain: Any, key: str = "") -> Iterator[str]:
    """All texts in an answer that people read."""
    if isinstance(plain, dict):
        for k, v in plain.items():
            yield from sentences(v, k)
    elif isinstance(plain, list):
        for v in plain:
            yield from sentences(v, key)
    elif isinstance(plain, str) and key not in NOT_SAID:
        yield plain


class Fixer:
    """Asks in German, and keeps whatever was English in an answer."""

    def __init__(self, client: TestClient) -> None:
        self.client, self.english = client, list[str]()

    def ask(self, method: str, path: str, **body: Any) -> Any:
        """The answer's JSON; changes are made of the newest revision."""
        if method == "POST":
            body.setdefault("revision", self.client.get("/api/jobs/plate").json()["revision"])
        answer = self.client.request(method, path, json=body or None, headers=GERMAN)
        plain = answer.json()
        assert answer.status_code != 500, (path, body)
        self.english += [f"{path}: {found} in {text}" for text in sentences(plain) for found in english_in(text)]
        return plain

    def refused(self, method: str, path: str, **body: Any) -> str:
        """The sentence of a refusal."""
        return str(self.ask(method, path, **body)["error"]["text"])

    def made(self, what: str, file: str, **options: Any) -> bytes:
        """A file that is made."""
        answer = self.ask("POST", "/api/jobs/plate/make", what=what, options=options)
        assert "files" in answer, answer
        files = answer["files"]
        return self.client.get(next(f["url"] for f in files if f["name"] == file), headers=GERMAN).content


@pytest.fixture
def fixer(tmp_path: Path) -> Iterator[Fixer]:
    with bench(plate(tmp_path)) as client:
        found = Fixer(client)
        yield found
        assert "\n".join(found.english) == ""


def test_the_check_knows_english() -> None:
    """It finds a sentence that nobody translated, and takes no German, no label and no command's word for one."""
    assert english_in("Der Umriss hat kein E9: see the labels in the picture.") == ["see the labels", "the picture."]
    assert english_in("the outline") == ["the outline"]
    assert english_in("Schreiben Sie width oder gap, etwa „tight at E2“.") == []
    assert len(only_english()) > 500


def test_figures_on_the_page_have_the_comma(fixer: Fixer) -> None:
    page = fixer.client.get("/job/plate", headers=GERMAN).text
    assert "<small>0,35</small>" in page
    assert 'placeholder="0,1"' in page


def test_readings(fixer: Fixer) -> None:
    at = "/api/jobs/plate/readings"
    fixer.ask("GET", "/api/jobs")
    fixer.ask("GET", "/api/jobs/plate")
    fixer.ask("GET", "/api/jobs/plate/offers?features=E2,E4")
    fixer.ask("GET", "/api/jobs/plate/offers?features=E1,E2")
    assert "keine Zahl" in fixer.refused("POST", at, **width("abc"))
    for value, more in (
        ("-3", {}), ("9000", {}), ("60", {"kind": "length"}), ("60", {"kind": "gap"}),
        ("60", {"features": ["E1", "E2"]}),
        ("60", {"features": ["E2", "E9"]}), ("60", {"tool": "ruler"}), ("6", {"kind": "bore", "features": ["E1"]}),
        ("6", {"kind": "boss", "features": ["D1"]}), ("60", {"features": ["E2", "E2"]}), ("60", {"tool": "gauge"}),
        ("6", {"kind": "web", "features": ["E1", "E2"]}), ("6", {"kind": "span", "features": ["D1", "E1"]}),
        ("2", {"kind": "radius", "features": ["E1"]}), ("2", {"features": ["E2"]}), ("60", {"unit": "ell"}),
    ):  # fmt: skip
        fixer.refused("POST", at, **width(value, **more))
    fixer.ask("POST", at, **width("60,01"))
    state = fixer.ask("POST", at, kind="bore", features=["D1"], value="8,6")
    assert any(r["verdict"] == "suspect" and r["reason"] for r in state["readings"])
    fixer.ask("POST", at, kind="gap", features=["E5", "E6"], value="0,197")
    fixer.ask("POST", at, kind="thickness", features=[], value="4,2")
    while state["can_undo"]:
        state = fixer.ask("POST", "/api/jobs/plate/undo")
    fixer.refused("POST", "/api/jobs/plate/undo")


def test_what_is_asked_for_wrongly(fixer: Fixer) -> None:
    for path, body in (
        ("trace", {"thickness": "4"}), ("trace", {"thickness": "thick"}), ("trace", {"thickness": "4", "rim": "blunt"}),
        ("trace", {"thickness": "4", "scale": {"reference": "sheet", "bar_x": "long"}}),
        ("trace", {"thickness": "4", "scale": {"reference": "own"}}),
        ("trace", {"thickness": "4", "scale": {"reference": "120x9000"}}),
        ("trace", {"thickness": "4", "scale": {"reference": "a4", "tolerance": "1"}}),
        ("caliper", {"reach": "far", "inside": "2", "tip": "4"}),
        ("caliper", {"reach": "5", "inside": "2", "tip": "4"}),
        ("trial", {"said": "wobbles"}), ("trial", {"said": ""}), ("trial", {"said": "tight at E2; loose at E2"}),
        ("trial", {"said": "tight at E99"}), ("trial", {"said": "too long 0.3"}), ("trial", {"said": "gap 99 at E2"}),
        ("make", {"what": "cake"}), ("make", {"what": "fit", "options": {"as": "floppy"}}),
        ("make", {"what": "gauge", "options": {"around": ["E99"]}}),
        ("make", {"what": "fit", "options": {"printer": "nobodys"}}),
    ):  # fmt: skip
        fixer.refused("POST", f"/api/jobs/plate/{path}", **body)
    fixer.refused("GET", "/api/jobs/nowhere")
    fixer.refused("GET", "/api/jobs/plate/thin?limit=much")
    fixer.refused("GET", "/api/jobs/plate/thin?limit=99")


def test_broken_parts_and_what_a_person_decides(fixer: Fixer) -> None:
    at = "/api/jobs/plate/complete"
    for body in (
        {"broken": "E9"}, {"broken": "D1"}, {"by": "mirror"}, {"by": "turn", "broken": "E1"}, {"by": "open"},
        {"drawn": "hop", "broken": "E1"}, {"drawn": "", "broken": "E1"}, {"drawn": "to E9", "broken": "E1"},
        {"drawn": "arc 1 to end", "broken": "E1"},
    ):  # fmt: skip
        fixer.ask("POST", at, **body)
    for said in ("E1 curly", "E1 straight", "E9 straight", ""):
        fixer.refused("POST", "/api/jobs/plate/mend", said=said)
    state = fixer.ask("POST", at, broken="E1", by="open")
    assert "bleibt offen" in state["completion"]["breaks"][0]["words"]
    fixer.ask("POST", at, broken="E3", drawn="to 30,10; to end")
    fixer.ask("POST", at, broken="E1", by="extend")


def test_printing(fixer: Fixer) -> None:
    thin = fixer.ask("GET", "/api/jobs/plate/thin?limit=10")
    assert any("9,0" in line for line in thin["lines"])
    fixer.ask("GET", "/api/jobs/plate/thin?limit=1")
    for told_of in (
        {"undercut": "0,8", "length": "15"}, {"undercut": "0,8", "thick": "2"}, {"undercut": "x", "length": "15"}, {},
        {"undercut": "0,8", "length": "15", "thick": "6", "layers": "across", "angle": "80"}, {"undercut": "0,8"},
        {"undercut": "0.8", "length": "4", "thick": "0,5"}, {"undercut": "1", "length": "15", "material": "butter"},
    ):  # fmt: skip
        fixer.ask("POST", "/api/clip", told={"material": "petg", **told_of})
    fixer.ask("GET", "/api/printers")
    fixer.refused("POST", "/api/printers", name="bench-petg", readings={"1": "50,1"})
    fixer.refused("POST", "/api/printers", name="§", readings={})
    fixer.refused("POST", "/api/printers", name="bench-petg", readings={"1": "90"})
    nominal = (50.0, 14.0, 40.0, 12.0, 24.0, 5.0, 16.0, 4.0)  # the test piece's outline, `measure/printing/coupon.py`
    shown = {str(n): f"{v:.2f}" for n, v in enumerate(nominal, 1)}
    found = fixer.ask("POST", "/api/printers", name="bench-petg", readings=shown)
    assert "0,0" in found["lines"][0]
    trial = fixer.ask("POST", "/api/jobs/plate/trial", said="tight at E2")
    assert trial["trial"]["changes"]
    fixer.ask("GET", "/api/jobs/plate/revisions")
    fixer.ask("GET", "/api/jobs/plate")


def words_of(svg: bytes) -> str:
    """The words on a sheet."""
    return "\n".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg.decode()))


def test_drawings_and_worksheets(fixer: Fixer) -> None:
    sheets = {
        "sketch": words_of(fixer.made("sketch", job.SKETCHES[1], thin=True)),
        "fit": words_of(fixer.made("fit", job.FITS[1], **{"as": "sliding"})),
    }
    pdf = pypdf.PdfReader(io.BytesIO(fixer.made("worksheet", job.WORKSHEETS[0])))
    sheets["worksheet"] = pdf.pages[0].extract_text()
    fixer.ask("POST", "/api/jobs/plate/readings", **width("60,01"))
    assert "Es ist keine Messung nötig" in fixer.refused("POST", "/api/jobs/plate/make", what="worksheet")
    piece = fixer.client.get("/api/printers/test-piece.pdf", headers=GERMAN).content
    sheets["test piece"] = pypdf.PdfReader(io.BytesIO(piece)).pages[0].extract_text()
    assert "Messblatt: plate" in sheets["worksheet"]
    assert "schnäbel" in sheets["test piece"]
    assert "Passung gleitend" in sheets["fit"]
    assert re.search(r"\d,\d\d", sheets["fit"])
    assert {what: found for what, text in sheets.items() if (found := english_in(text))} == {}
    fixer.ask("POST", "/api/jobs/plate/trial", said="tight at E2; gap 0.4 at E3")
    again = words_of(fixer.client.get("/api/jobs/plate/sketch.svg", headers=GERMAN).content)
    assert english_in(again) == []
    assert "Probedruck" in again


def test_how_far_a_trace_has_come_is_told_in_german() -> None:
    async def first() -> str:
        ASKED.set("de")
        bell = Bell()
        async for event in bell.stream(bell.join("x"), lambda: {"progress": {"step": tasks.DURING[Stage.EDGES].words}}):
            return event
        return ""

    assert json.loads(awaited(first()).removeprefix("data: "))["progress"]["step"] == "seine Kanten werden bestimmt"


def test_cautions_and_refusals_come_back_from_the_files_in_german(tmp_path: Path) -> None:
    """As a trace by a command leaves them."""
    record = records.from_text((plate(tmp_path) / "plate" / job.TRACE).read_text(), job.TRACE)
    said = Words("Only one piece is found, not two")
    caution = records.Message("two", said, (Words("lay one there"), records.Remedy("give-thickness")))
    record = record.model_copy(update={"warnings": (records.CautionRecord.of(caution, lambda _: "--thickness"),)})
    job.write(tmp_path / "plate", {job.TRACE: records.to_text(record).encode()})
    reconcile(tmp_path / "plate")
    with bench(tmp_path) as client:
        german, english = (client.get("/api/jobs/plate", headers=h).json() for h in (GERMAN, {}))
        assert german["cautions"][0]["text"] == said_in("de", caution.said(on_page))
        assert english["cautions"][0]["text"].startswith("Only one piece is found, not two: lay one there, or measure")
        drawn = words_of(client.get("/api/jobs/plate/sketch.svg", headers=GERMAN).content)
        assert "Nur ein Stück ist zu finden, nicht zwei" in " ".join(drawn.split())
    assert "told" not in json.dumps(records.for_scripts(record))


def test_a_sentence_that_was_changed_in_the_file_stays_as_it_stands() -> None:
    words = Words("{n} of {all}: {what}", n=3, all=2.5, what=Words("the readings"))
    again = told_again(str(words), told(words))
    assert isinstance(again, Words)
    assert (again, again.values["what"]) == (words, "the readings")
    assert said_in("de", told_again("by hand", told(words))) == "by hand"


@pytest.mark.parametrize(
    "by",
    [
        Told(template="{x.__class__}", values={"x": 1.0}),
        Told(template="{x:9999999999}", values={"x": 1.0}),
        Told(template="{x!r:>99999999}", values={"x": 1.0}),
        Told(template="{x:.1f}", values={"x": "no number"}),
        Told(template="{y}", values={"x": 1.0}),
        Told(template="{x", values={"x": 1.0}),
        Told(template="{}", values={}),
    ],
)
def test_a_strangers_template_is_no_way_in(by: Told) -> None:
    for text in ("x", "1.0", "float"):
        assert told_again(text, by) == text
        assert not isinstance(told_again(text, by), Words)
