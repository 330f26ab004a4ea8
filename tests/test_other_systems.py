"""Windows and macOS by substitution: what they have not, what they name otherwise, and how their consoles write.

What is put in the place of the system's own is said in each test; nothing here was run on either of them.
"""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path

import pytest

from calib import files
from calib.errors import JobRefused, WrongUsage
from calib.files import NotPlain, content_of, is_link
from calib.written import is_reserved
from measure.bench import kept, serve
from measure.bench.shelf import Shelf, slug
from measure.job import job
from measure.readings.readings import read_csv, write_csv
from measure.steps import workers
from measure.steps.printer import printer_of
from measure.steps.read import read
from measure.steps.reconcile import reconcile
from measure.steps.sketch import sketch
from tests.benches import bench, plate, width
from tests.jobs import traced


@pytest.fixture
def without_flags(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows' `os` has none of the flags that keep from following links and from waiting."""
    for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_CLOEXEC", "O_NOCTTY"):
        monkeypatch.delattr(os, name, raising=False)


def test_files_are_read_and_links_refused_without_the_flags(tmp_path: Path, without_flags: None) -> None:
    (tmp_path / "x").write_bytes(b"a\r\nb")
    assert content_of(tmp_path / "x", 1) == b"a\r\nb"
    (tmp_path / "y").symlink_to(tmp_path / "x")
    with pytest.raises(NotPlain, match="link"):
        content_of(tmp_path / "y", 1, links=False)
    with pytest.raises(IsADirectoryError):
        content_of(tmp_path, 1)
    with pytest.raises(FileNotFoundError):
        content_of(tmp_path / "none", 1)


def test_a_junction_counts_as_a_link(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """`os.path.isjunction`, which Python has from 3.12 on, says yes for one folder."""
    folder = traced(tmp_path / "plate")
    (folder / "revisions").mkdir()
    monkeypatch.setattr(os.path, "isjunction", lambda p: str(p).endswith("revisions"), raising=False)
    assert is_link(folder / "revisions")

    class Entry:
        name, path = "revisions", str(folder / "revisions")

        def is_symlink(self) -> bool:
            return False

        def is_junction(self) -> bool:
            return True

    class Entries(list[Entry]):
        def __enter__(self) -> Entries:
            return self

        def __exit__(self, *_: object) -> None:
            pass

    monkeypatch.setattr(os, "scandir", lambda at: Entries([Entry()]))
    with pytest.raises(JobRefused, match="is a link"):
        job.existing(folder)


def test_a_whole_job_where_no_folder_can_be_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows opens none, so that none can be had on disk by itself."""
    real = os.open

    def opened(path: object, *more: object, **named: object) -> int:
        if os.path.isdir(str(path)):
            raise PermissionError(13, "Permission denied", str(path))
        return real(path, *more, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", opened)
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60.0"])
    reconcile(folder)
    sketch(folder)
    with bench(tmp_path) as client:
        assert client.post("/api/jobs/plate/readings", json=width("60.01")).status_code == 200
    assert len(read_csv((folder / job.READINGS).read_bytes())) == 2


def test_memory_is_not_limited_where_nobody_can(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "resource", None)
    workers._limit_memory(1.0)


def test_a_drawing_that_is_open_elsewhere_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows replaces no file that another program has open."""
    folder = traced(tmp_path / "plate")
    reconcile(folder)
    sketch(folder)
    before = {p.name for p in folder.iterdir()}
    real = os.replace

    def replaced(a: object, b: object) -> None:
        if str(b).endswith("sketch.pdf"):
            raise PermissionError(13, "Access is denied", str(a), 5, str(b))
        real(a, b)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "replace", replaced)
    with pytest.raises(WrongUsage, match=r"sketch\.pdf is in use: "):
        sketch(folder)
    monkeypatch.undo()
    assert {p.name for p in folder.iterdir()} == before
    sketch(folder)


# ---------------------------------------------------------------------------------------------------------------- names
@pytest.mark.parametrize("name", ["con", "CON", "Aux", "nul", "com1", "LPT9", "con.", "prn.txt"])
def test_no_job_and_no_printer_gets_a_name_that_windows_keeps_for_itself(tmp_path: Path, name: str) -> None:
    """Names as Microsoft's documentation of file names lists them."""
    made = Shelf(tmp_path).new(name, kept.Kept(name=name))
    assert not is_reserved(made.id)
    assert made.kept().name == name  # type: ignore[union-attr]
    with pytest.raises(WrongUsage):
        printer_of(name)


def test_other_names_are_let_be() -> None:
    assert [slug(x) for x in ("Console", "Com", "lpt0", "Con rod", "Nullah")] == [
        "console", "com", "lpt0", "con-rod", "nullah",
    ]  # fmt: skip


@pytest.mark.parametrize("names", [["Vent", "VENT", "vent"], ["É", "é", "e"]])
def test_parts_of_one_name_but_for_its_case_get_folders_of_their_own(
    tmp_path: Path, names: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk on which names that differ in case are one: whatever is asked for is looked up in small letters."""
    real = os.path.lexists
    monkeypatch.setattr(os.path, "lexists", lambda p: real(str(p).lower()) or real(p))
    shelf = Shelf(tmp_path)
    made = [shelf.new(name, kept.Kept(name=name)).id for name in names]
    assert len({x.lower() for x in made}) == 3


def test_names_with_the_other_slash_lead_nowhere(tmp_path: Path) -> None:
    with bench(plate(tmp_path)) as client:
        for path in ("/job/..%5Cplate", "/api/jobs/plate/files/..%5C..%5Cx", "/static/..%5Capp.py", "/api/jobs/C:%5Cx"):
            assert client.get(path).status_code == 404, path


# ------------------------------------------------------------------------------------------------ consoles and lines
@pytest.mark.parametrize(("encoding", "shown"), [("cp1252", False), ("cp437", True), ("utf-8", True), ("ascii", False)])
def test_a_code_is_printed_only_where_the_console_has_its_blocks(encoding: str, shown: bool) -> None:
    """Code page 437 has the blocks, 1252 has not; output is set to replace what it can't show."""
    raw = io.BytesIO()
    out = io.TextIOWrapper(raw, encoding, errors="replace")
    serve._code("http://127.0.0.1:8765/", out)
    out.flush()
    said = raw.getvalue().decode(encoding)
    assert ("█" in said) == shown
    assert "?" not in said


def test_lines_end_as_they_are_written_on_every_system(tmp_path: Path) -> None:
    """Nothing of a job goes through a text file, which Windows would give other ends of lines and fingerprints."""
    folder = traced(tmp_path / "plate")
    read(folder, ["width E2 E4 60.0"])
    reconcile(folder)
    sketch(folder)
    for path in folder.iterdir():
        if path.suffix in (".json", ".csv", ".svg"):
            assert b"\r" not in path.read_bytes(), path.name
    assert b"\r" not in write_csv(read_csv((folder / job.READINGS).read_bytes())).encode()
    for name in ("read_text", "write_text"):
        used = [p for d in ("calib", "measure") for p in Path(files.__file__).parents[1].joinpath(d).rglob("*.py")]
        assert not [p for p in used if f".{name}(" in p.read_text()], name
