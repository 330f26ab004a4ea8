"""Long and odd words in every place where somebody may write: answered at once, in a sentence that is not endless."""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from calib.errors import JawlineError
from calib.messages import LONGEST
from calib.reference.wanted import wanted
from calib.tools.jaws import TOOLS
from calib.written import plain_number
from measure.broken.breaks import marked_break
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job, records, revisions
from measure.planning.numbered import written_out
from measure.readings.readings import LONGEST_LINE, make_reading, number, read_csv, read_words
from measure.steps.read import appended, in_job, read
from measure.steps.reconcile import reconcile
from measure.steps.trial import trial
from measure.trial.sayings import LONGEST as LONGEST_SAYING
from measure.trial.sayings import parse, read_file
from tests.benches import bench, plate, width
from tests.jobs import record, traced

AT_ONCE_S = 1.0
"""A hundred times what it takes; what is quadratic in 12,000 characters takes more."""
LONG = {
    "digits": "9" * 12_000,
    "points": "1." * 6_000,
    "spaces": "1" + " " * 12_000 + "x",
    "words": "too long " * 1_500,
    "numbers": "1 " * 6_000,
    "labels": "tight at " + "e1," * 4_000,
    "nearly labels": "tight at " + "e1 and " * 2_000 + "e",
    "gaps": "gap " + "1" * 12_000,
    "commands": "run `jawline reconcile " * 600,
    "lines": "\n" * 12_000,
    "quotes": '"' * 12_000,
    "escapes": "\x1b[31m" * 2_400,
    "slashes": "1/" * 6_000,
    "signs": "=" * 12_000,
}


def at_once(work: Callable[[], object]) -> JawlineError | None:
    """What some work refuses; whatever else it raises is a defect."""
    began, refused = time.process_time(), None
    try:
        work()
    except JawlineError as why:
        refused = why
    assert time.process_time() - began < AT_ONCE_S
    assert refused is None or len(refused.text) <= LONGEST
    assert refused is None or refused.text.isprintable()
    return refused


@pytest.mark.parametrize("kind", list(LONG))
def test_every_parser_is_done_with_long_words_at_once(kind: str) -> None:
    words = LONG[kind]
    parsers: list[Callable[[], object]] = [
        lambda: parse([words]),
        lambda: parse(words.split()),
        lambda: read_file(f"revision,said\n1,{words}\n", "trials.csv"),
        lambda: read_file(f"{words},tight\n", "trials.csv"),
        lambda: read_words([words]),
        lambda: read_words(["width E2 E4", words]),
        lambda: read_csv(words),
        lambda: read_csv(f"kind,features,value\nwidth,E2 E4,{words}\n"),
        lambda: read_csv(f"kind,features,value\nwidth,{words},3\n"),
        lambda: read_csv(f"kind,features,value,note\nwidth,E2 E4,3,{words}\n"),
        lambda: written_out([words, f"{words}=4", f"1={words}"], b"kind,features,value,unit,tool,note\n"),
        lambda: written_out(["1=4"], f"kind,features,value,note\nwidth,{words},,1\n".encode()),
        lambda: marked_break([], words),
        lambda: wanted(words),
        lambda: number(words),
        lambda: plain_number(words),
    ]
    usual = ("bore", ["D1"], "4", "mm", "caliper")
    parsers += [
        lambda k=k: make_reading(*[words if i == k else w for i, w in enumerate(usual)])  # type: ignore[misc]
        for k in (0, 2, 3, 4)
    ]
    for parser in parsers:
        at_once(parser)


@pytest.mark.parametrize(
    "value", ["9" * 400, "1" * 5000, f"1/{'9' * 400}", f"{'9' * 400}/1", f"1 {'1' * 5000}/2", "1e400", "²", "٣"]
)
def test_numbers_that_no_tool_shows_are_no_numbers(value: str) -> None:
    assert at_once(lambda: make_reading("bore", ["D1"], value))
    assert at_once(lambda: read_words(["bore", "D1", value]))


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    with bench(plate(tmp_path_factory.mktemp("jobs"))) as found:
        yield found


FIELDS: dict[str, list[Callable[[Any], Any]]] = {
    "readings": [
        lambda x: width(x),
        lambda x: width("60", unit=x),
        lambda x: width("60", tool=x),
        lambda x: {**width("60"), "kind": x},
        lambda x: {**width("60"), "features": [x, "E4"]},
        lambda x: {**width("60"), "features": [x] * 50},
    ],
    "complete": [lambda x: {"by": x}, lambda x: {"broken": x}],
    "trial": [lambda x: {"said": x}],
    "make": [lambda x: {"what": x}]
    + [lambda x, k=k: {"what": "fit", "options": {k: x}} for k in ("as", "printer")]
    + [lambda x: {"what": "worksheet", "options": {"tool": x}}]
    + [lambda x: {"what": "gauge", "options": {"around": [x]}}],
    "trace": [lambda x: {"thickness": x}, lambda x: {"subject": x, "thickness": "4"}],
    "undo": [lambda x: {"revision": x}],
}  # fmt: skip


@pytest.mark.parametrize("path", list(FIELDS))
@pytest.mark.parametrize("kind", [*LONG, "half a character", "null", "deep", "large"])
def test_every_field_of_the_page(client: TestClient, path: str, kind: str) -> None:
    odd: Any = {"half a character": "\ud800", "null": "a\0b", "deep": [[[[[]]]]], "large": 10**60}
    value = odd.get(kind) if kind in odd else LONG[kind]
    revision = client.get("/api/jobs/plate").json()["revision"]
    for field in FIELDS[path]:
        asked = {"revision": revision, **field(value)}
        began = time.process_time()
        answer = client.post(f"/api/jobs/plate/{path}", content=json.dumps(asked))
        assert 400 <= answer.status_code < 500, (asked, answer.text[:300])
        error = answer.json()["error"]["text"]
        assert len(error) <= LONGEST
        assert error.isprintable()
        assert time.process_time() - began < 2 * AT_ONCE_S
    assert client.get("/api/jobs/plate").json()["readings"] == []


@pytest.mark.parametrize("n", ["9" * 5000, "1" * 20, "²", "٣", "-1", "1.5", "0x1"])
def test_numbers_in_addresses_are_bounded(client: TestClient, n: str) -> None:
    assert client.get(f"/api/jobs/plate/revisions/{n}.svg").status_code == 404
    answer = client.delete("/api/jobs/plate/readings/x", params={"revision": n})
    assert answer.status_code in (404, 409)


def test_a_note_is_kept_as_it_can_be_shown_and_the_reading_with_it(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        for note in ("a\0b", "\x1b[31mred", "a\u2028b", "x" * 5000, "\u202eabc", 'he said "60", or 61', "# no comment"):
            answer = client.post("/api/jobs/plate/readings", json=width("60.0", note=note))
            assert answer.status_code in (200, 400), note
        seen = client.get("/api/jobs/plate").json()
        assert len(seen["readings"]) == 6, "of the longest nothing is taken"
        assert not seen["cautions"]
    assert len(read(tmp_path / "plate", ["width E2 E4 60.02"]).result["taken"]) == 1


# ------------------------------------------------------------------------------------------------- a file of readings
HEADING = "kind,features,value,unit,tool,note\n"


@pytest.mark.parametrize(
    "content",
    [
        HEADING.encode(),
        HEADING.encode("utf-16"),
        f"{HEADING}width,E2 E4,60.0,mm,caliper,\n".encode("utf-16"),
        b"# only a comment",
        b"\n\n",
        b"\xef\xbb\xbf",
        f"{HEADING}width,E2 E4,60.0,mm,caliper,\n".replace("\n", "\r\n").encode(),
        f"{HEADING}width,E2 E4,60.0,mm,caliper,\n".replace("\n", "\r").encode(),
    ],
)
def test_readings_that_a_person_saved_otherwise_go_on(tmp_path: Path, content: bytes) -> None:
    """A heading alone, a spreadsheet's UTF-16, other ends of lines: all is read, added to, and taken out again."""
    folder = plate(tmp_path) / "plate"
    (folder / job.READINGS).write_bytes(content)
    before = len(in_job(content, job.READINGS, TOOLS))
    with bench(tmp_path) as client:
        seen = client.get("/api/jobs/plate").json()
        assert not seen["cautions"]
        assert len(seen["readings"]) == before
        now = client.post("/api/jobs/plate/readings", json=width("60.01"))
        assert now.status_code == 200, now.text
        found = now.json()
        assert len(found["readings"]) == before + 1
        key = found["readings"][-1]["key"]
        left = client.delete(f"/api/jobs/plate/readings/{key}", params={"revision": found["revision"]})
        assert left.status_code == 200, left.text
        assert len(left.json()["readings"]) == before
    assert len(read(folder, ["width E2 E4 60.02"]).result["taken"]) == 1
    assert len(reconcile(folder).result["readings"]) == before + 1


@pytest.mark.parametrize("content", [b"\x89PNG\0\0", "käse".encode("latin-1"), b"\xff\xfe\0", "x".encode("utf-32")])
def test_what_is_no_text_is_said_with_a_way_out_and_left_alone(tmp_path: Path, content: bytes) -> None:
    folder = plate(tmp_path) / "plate"
    (folder / job.READINGS).write_bytes(content)
    with bench(tmp_path) as client:
        said = client.get("/api/jobs/plate").json()["cautions"][0]["text"]
        assert "first line is kind,features,value" in said or "save it as CSV, UTF-8" in said
        answer = client.post("/api/jobs/plate/readings", json=width("60"))
        assert answer.status_code == 422
    assert (folder / job.READINGS).read_bytes() == content


def test_a_file_with_a_comment_alone_gets_its_heading() -> None:
    new = read_words(["bore D1 6"])
    assert read_csv(appended(b"# mine", new)) == tuple(r.__class__(**{**_plain(r), "line": 3}) for r in new)


def _plain(reading: Any) -> dict[str, Any]:
    return {name: getattr(reading, name) for name in reading.__slots__}


def test_longer_lines_and_files_than_anybody_writes_are_refused_in_a_sentence() -> None:
    for text in (f"{HEADING}bore,D1,4,mm,,{'x' * 140_000}\n", HEADING + "bore,D1,4,mm,,\n" * 5000):
        refused = at_once(lambda text=text: read_csv(text))
        assert refused
        assert refused.code == "readings-file"
    assert len(read_csv(f"{HEADING}bore,D1,4,mm,,{'x' * (LONGEST_LINE - 20)}\n")) == 1
    assert at_once(lambda: parse(["x" * (LONGEST_SAYING + 1)]))


def test_a_worksheet_with_the_ends_of_lines_of_an_old_spreadsheet(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    rows = "kind,features,value,unit,tool,note\rwidth,E2 E4,,mm,caliper,1\rbore,D1,,mm,caliper,2\r"
    (folder / job.WORKSHEETS[1]).write_bytes(rows.encode())
    assert read(folder, ["1=60.0"]).result["taken"] == ["width E2 E4 60.0 mm"]
    (folder / job.WORKSHEETS[1]).write_bytes(rows.encode() + b"x" * 200_000)
    assert read(folder, ["2=6.0"]).result["taken"] == ["bore D1 6.0 mm"]
    assert at_once(lambda: read(folder, [f"{'1' * 5000}=6.0"]))


def test_folders_of_revisions_that_are_called_like_no_number(tmp_path: Path) -> None:
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60"])
    reconcile(folder)
    for name in ("²", "٣", "1" * 200, "-1", "01", "x"):
        (folder / revisions.FOLDER / name).mkdir(parents=True)
    assert trial(folder, ["tight at E2"]).result["of"] == 1


def test_labels_of_two_letters(tmp_path: Path) -> None:
    """Nobody's program but a person's own hand makes them."""
    text = records.to_text(record()).replace('"D1"', '"DB1"')
    job.write(tmp_path / "plate", {job.TRACE: text.encode()})
    assert at_once(lambda: read(tmp_path / "plate", ["bore D1 6"]))
    assert read(tmp_path / "plate", ["bore DB1 6"]).result["taken"]


def test_a_command_whose_words_are_long_says_so_in_a_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = traced(tmp_path / "plate")
    for words in (
        ["read", str(folder), "x" * 100_000],
        ["trace", f"{'x' * 300}.jpg", "--thickness", "4"],
        ["trace", "x.jpg", "--thickness", "9" * 100_000],
        ["reconcile", str(tmp_path / ("x" * 300))],
        ["complete", str(folder), "--broken", "x" * 100_000],
        ["printer", "x" * 5000, "1=2"],
        ["printer", "bench", f"{'1' * 5000}=2"],
        ["trial", str(folder), "9" * 100_000],
        ["bench", str(tmp_path / ("x" * 300)), "--no-open"],
    ):
        assert run(app, words) in (1, 2)
        said = capsys.readouterr().err
        assert len(said.splitlines()) == 1
        assert len(said) < 2 * LONGEST
        assert "was not made for" not in said
