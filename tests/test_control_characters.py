"""Whatever a job, a file's name or a note contains: nothing moves a terminal's cursor, and every file stays valid."""

from __future__ import annotations

import io
import json
import re
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import pytest

from calib.written import printable
from measure.cli.app import app
from measure.cli.run import run
from measure.job import job, records
from measure.steps.fit import fit
from measure.steps.gauge import whole
from measure.steps.next import next_readings
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from measure.steps.trial import trial
from tests.benches import bench
from tests.jobs import record

ROOT = Path(__file__).parent.parent
ODD = {
    "escape": "\x1b]0;mine\x07\x1b[2J\x1b[31mred",
    "c1": "\x9b31mred\x90q",
    "null": "a\0b",
    "lines": "a\r\nb\u2028c\x0bd\x85e",
    "right to left": "\u202egnp.exe\u2066",
    "markup": "<script>alert(1)</script>&amp;]]>--><!--",
    "quotes": "\"'`${x}%%u\\P{}^I",
    "no character": "\ufffe\uffff\ufdd0",
    "beyond": "\U0001f600\U000e0001\U0010ffff",
    "combining": "e" + "\u0301" * 60,
    "wide": "漢字 عربى",
}


def written(folder: Path, words: str) -> Path:
    """A job in which all that may be text is odd."""
    plain = json.loads(records.to_text(record()))
    plain |= {"part": words, "photo": words, "photos": [words, words], "seen_from": words}
    plain["scale"] |= {"lens": words}
    plain["warnings"] = [{"code": words, "text": words}]
    job.write(folder, {job.TRACE: json.dumps(plain).encode()})
    return folder


@pytest.mark.parametrize("words", [ODD["markup"], "".join(ODD.values())], ids=["markup", "all of them"])
def test_all_that_is_drawn_of_an_odd_job_is_valid(
    tmp_path: Path, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    import pypdfium2

    folder = written(tmp_path / "plate", words)
    read(folder, ["width E2 E4 60.0"])
    reconcile(folder)
    sketch(folder, name=words)
    trial(folder, ["tight at E2"])
    for step in (sketch, lambda f: fit(f, name="snug"), whole, next_readings):
        step(folder)
    files = [p for p in folder.rglob("*") if p.is_file()]
    assert {".svg", ".pdf", ".dxf", ".3mf"} <= {p.suffix for p in files}
    for path in files:
        data = path.read_bytes()
        if path.suffix == ".svg":
            ElementTree.fromstring(data)
            assert _shown(data.decode())
        elif path.suffix == ".3mf":
            ElementTree.fromstring(zipfile.ZipFile(io.BytesIO(data)).read("3D/3dmodel.model"))
        elif path.suffix == ".dxf":
            assert not ezdxf.readfile(path).audit().has_errors
            assert _shown(data.decode())
        elif path.suffix == ".pdf":
            document = pypdfium2.PdfDocument(data)
            text = "".join(page.get_textpage().get_text_bounded() for page in document)
            assert _shown(text + document.get_metadata_value("Title"))
    for command in (["reconcile", str(folder)], ["next", str(folder), "--json"], ["sketch", str(folder)]):
        capsys.readouterr()
        assert run(app, command) == 0
        said = capsys.readouterr()
        assert _shown(said.out + said.err)


def _shown(text: str) -> bool:
    """Whether nothing but ends of lines is in it that can't be shown."""
    return not [c for c in text if not c.isprintable() and c not in "\n\r\t"]


@pytest.mark.parametrize("kind", [k for k in ODD if "\0" not in ODD[k]])
def test_the_name_of_a_folder_reaches_no_terminal_as_it_is(
    tmp_path: Path, kind: str, capsys: pytest.CaptureFixture[str]
) -> None:
    name = ODD[kind].replace("/", "")
    folder = tmp_path / name
    folder.mkdir()
    for words in (
        ["reconcile", str(folder)],
        ["reconcile", str(folder), "--json"],
        ["trace", str(folder / name), "--thickness", name],
        ["sketch", name, f"--{name}"],
        ["read", str(written(folder / "job", "x")), name],
        ["check", str(folder / name)],
        ["bench", str(folder / "job" / job.TRACE)],
    ):
        run(app, words)
        said = capsys.readouterr()
        assert _shown(said.out + said.err), words
        if "--json" in words:
            json.loads(said.out)


def test_the_page_serves_odd_jobs_as_plain_json_and_valid_svg(tmp_path: Path) -> None:
    for n, words in enumerate(ODD.values()):
        written(tmp_path / str(n), words)
    with bench(tmp_path) as client:
        assert len(client.get("/api/jobs").json()["jobs"]) == len(ODD)
        for n in range(len(ODD)):
            assert client.get(f"/api/jobs/{n}").json()["state"] == "traced"
            page = client.get(f"/job/{n}").text
            assert "<script>alert" not in page
            ElementTree.fromstring(client.get(f"/api/jobs/{n}/sketch.svg").content)


def test_json_for_scripts_holds_what_was_written_although_it_shows_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "plate", "a\x9bb\U000e0001 é")
    reconcile(folder)
    capsys.readouterr()
    assert run(app, ["reconcile", str(folder), "--json"]) == 0
    said = capsys.readouterr().out
    assert json.loads(said)["part"] == "a\x9bb\U000e0001 é"
    assert "é" in said
    assert printable(said.strip()) == said.strip()


def test_a_whole_command_on_a_console_that_knows_few_characters(tmp_path: Path) -> None:
    """As on Windows with code page 1252 or 437: what it can't show is replaced, and nothing fails."""
    folder = written(tmp_path / "plate", "漢 ± ⌀ é")
    code = "from measure.cli import main\nmain()"
    for encoding in ("cp1252", "ascii"):
        done = subprocess.run(
            [sys.executable, "-c", code, "reconcile", str(folder)],
            cwd=ROOT, capture_output=True, env={"PYTHONIOENCODING": encoding, "PATH": ""}, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert b"Traceback" not in done.stderr
        assert re.search(rb"dimensions, the least sure .+ mm", done.stdout)


# ------------------------------------------------------------------------------------------------ figures of a printer
GOOD = {"name": "bench", "outside_mm": 0.06, "inside_mm": 0.11, "shrinkage": [0.002, 0.0025]}
"""As in the docstring of `calib.tools.printer`."""
VARIANCE = [0.01**2, 0.01**2, 0.001**2, 0.001**2]


def covariance(changes: dict[tuple[int, int], float]) -> list[list[float]]:
    return [[changes.get((i, j), VARIANCE[i] if i == j else 0.0) for j in range(4)] for i in range(4)]


@pytest.mark.parametrize(
    "changes",
    [
        {(0, 0): float("inf")}, {(0, 0): float("nan")}, {(0, 1): float("inf")}, {(0, 0): -1e-4}, {(0, 0): 0.0},
        {(0, 0): 1e6}, {(0, 1): 1.1e-4, (1, 0): 1.1e-4}, {(0, 1): 5e-5}, {(2, 3): -1.1e-6, (3, 2): -1.1e-6},
        {(0, 1): 9e-5, (1, 0): 9e-5, (0, 2): 9e-6, (2, 0): 9e-6, (1, 2): -9e-6, (2, 1): -9e-6},
    ],
)  # fmt: skip
def test_a_printers_figures_that_can_t_be_are_refused(tmp_path: Path, changes: dict[tuple[int, int], float]) -> None:
    """Correlations of 1.1, of 0.9 with each of two that are -0.9 to each other, one-sided ones, and no numbers."""
    from calib.errors import WrongUsage
    from calib.tools.printer import read_printer

    path = tmp_path / "bench.json"
    path.write_text(json.dumps({**GOOD, "covariance": covariance({})}))
    assert read_printer(path).name == "bench"
    path.write_text(json.dumps({**GOOD, "covariance": covariance(changes)}))
    with pytest.raises(WrongUsage, match="makes no sense"):
        read_printer(path)


@pytest.mark.parametrize("value", ["1e400", "-1e400", "NaN", "Infinity", "9" * 400, "null", '"x"', "[1]", "true"])
@pytest.mark.parametrize("key", ["outside_mm", "inside_mm"])
def test_no_number_of_a_printer_or_lens_is_beyond_its_limits(tmp_path: Path, key: str, value: str) -> None:
    from calib.errors import WrongUsage
    from calib.lens.lens import read_profile
    from calib.tools.printer import read_printer

    path = tmp_path / "x.json"
    text = json.dumps({**GOOD, key: "HERE", "covariance": covariance({})}).replace('"HERE"', value)
    path.write_text(text)
    with pytest.raises(WrongUsage):
        read_printer(path)
    path.write_text(f'{{"name": "x", "radial": {value}, "radial_sd": 0.01}}')
    with pytest.raises(WrongUsage):
        read_profile(path)
