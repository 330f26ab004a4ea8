"""The job folder: plain files that a person can open, mend by hand and mail.

    trace.json  trace.png  outline.dxf      what the photo says
    trace-seen.json                         the same before a broken part was completed
    trace-photo.jpg  trace-view.json        the photo to look at, and where the features are in it
    trace-edges.npz                         the edge points that the features were fitted to
    readings.csv                            what the jaws said
    readings-aside-1.csv                    what they said of another part that was traced here before
    measured.json                           both, reconciled
    sketch.dxf  sketch.svg  sketch.pdf      the drawing
    sketch-on-photo.svg                     the same over the photo, faded, to check it by
    fit.dxf  fit.svg  fit.pdf               the drawing with room for a fit
    gauge.3mf  gauge.stl                    a thin plate to prove the fit by
    solid.3mf  solid.stl  solid.step        the part
    worksheet.pdf  worksheet.csv            which readings to take next
    trials.csv                              what was said of trial prints
    revisions/1/ …                          what was printed (`measure.job.revisions`)
    compare-1-2.svg  compare-1-2.pdf        two revisions over each other
    .jawline.json                           fingerprints of the files that jawline wrote

A file that jawline did not write, or that was changed since, is never overwritten unless that is asked for. All files
of a step are written beside their places first and then put there one by one, so that nothing stands half-written, and
while they are, nobody else changes the job (`measure.job.lock`).
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from calib.errors import JobRefused, WrongUsage
from calib.files import content_of
from calib.messages import Remedy
from measure.job import leftovers
from measure.job.links import refuse_links
from measure.job.lock import held

MANIFEST = ".jawline.json"
TRACE, PICTURE, OUTLINE = "trace.json", "trace.png", "outline.dxf"
SEEN = "trace-seen.json"
PHOTO, VIEW, EDGES = "trace-photo.jpg", "trace-view.json", "trace-edges.npz"
TRACED = (TRACE, PICTURE, OUTLINE, PHOTO, VIEW, EDGES)
"""All that a photo alone gives."""
READINGS, MEASURED = "readings.csv", "measured.json"
SKETCHES = ("sketch.dxf", "sketch.svg", "sketch.pdf")
ON_PHOTO = "sketch-on-photo.svg"
FITS = ("fit.dxf", "fit.svg", "fit.pdf")
GAUGES = ("gauge.3mf", "gauge.stl")
SOLIDS = ("solid.3mf", "solid.stl")
STEP = "solid.step"
DRAWN = (*SKETCHES, ON_PHOTO, *FITS, *GAUGES, *SOLIDS, STEP)
"""All that is made from measured.json, and out of date when that changes."""
WORKSHEETS = ("worksheet.pdf", "worksheet.csv")
TRIALS = "trials.csv"
TOOLS = "tools.toml"
BENCH = ("bench.json", "photo.png")
"""What the bench keeps in a job."""
USED = frozenset((MANIFEST, *TRACED, SEEN, READINGS, MEASURED, *DRAWN, *WORKSHEETS, TRIALS, TOOLS, *BENCH))
"""Every file that jawline reads or writes in a job, but for those that are numbered."""
MAX_TEXT_MB = 50
MAX_FILE_MB = 400
"""No file of a job is larger."""


def fingerprint(content: bytes) -> str:
    """SHA-256 of a file's content, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


@dataclass(slots=True)
class Manifest:
    """What jawline remembers of a job.

    Attributes:
        files: for each file that it wrote, the fingerprints that count as its own.
        taken: fingerprints of readings files that were taken in already.
        drawn: what was last drawn to be printed (``fit``, ``gauge`` or ``solid``), the fit and the printer it was for.
    """

    files: dict[str, list[str]] = field(default_factory=dict)
    taken: list[str] = field(default_factory=list)
    drawn: dict[str, str] = field(default_factory=dict)

    @classmethod
    def read(cls, folder: Path) -> Manifest:
        """The folder's manifest; an empty one where there is none or it is damaged: then nothing counts as written."""
        try:
            plain = json.loads(content_of(folder / MANIFEST, MAX_TEXT_MB, links=False))
            files = {str(k): [str(x) for x in v] for k, v in plain["files"].items()}
            drawn = {str(k): str(v) for k, v in plain.get("drawn", {}).items()}
            return cls(files, [str(x) for x in plain.get("taken", [])], drawn)
        except (OSError, ValueError, KeyError, AttributeError, TypeError, RecursionError):
            return cls()

    def content(self) -> bytes:
        """The manifest as a file."""
        return (json.dumps({"files": self.files, "taken": self.taken, "drawn": self.drawn}, indent=1) + "\n").encode()


# -------------------------------------------------------------------------------------------------------------- reading
def existing(folder: Path) -> Path:
    """The folder, when it is one.

    Raises:
        WrongUsage: there is no such folder.
        JobRefused: there are links in it.
    """
    if not os.path.exists(folder):
        raise WrongUsage(f"There is no job folder {folder}", "no-job", Remedy("make-job", str(folder)))
    if not os.path.isdir(folder):
        raise WrongUsage(f"{folder} is a file, not a job folder.", "no-job")
    refuse_links(folder, USED)
    return folder


def content(folder: Path, name: str, made_by: str) -> bytes:
    """A file of the job.

    Args:
        folder: the job.
        name: the file.
        made_by: the command that makes it, for messages.

    Raises:
        WrongUsage: the folder or the file is not there yet.
        JobRefused: it can't be read.
    """
    path = existing(folder) / name
    try:
        return content_of(path, MAX_TEXT_MB, links=False)
    except FileNotFoundError:
        raise WrongUsage(f"{folder} has no {name} yet", "missing-step", Remedy("run-first", made_by)) from None
    except OSError as why:
        raise JobRefused(f"{path} can't be read ({_reason(why)}).", "job-unreadable") from None


def text(folder: Path, name: str, made_by: str) -> str:
    """A text file of the job; see `content`."""
    try:
        return content(folder, name, made_by).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise JobRefused(
            f"{folder / name} is damaged (no UTF-8 text)", "job-damaged", Remedy("run-again", made_by)
        ) from None


def _reason(why: OSError) -> str:
    return (why.strerror or str(why)).lower()


def drawn_files(folder: Path) -> dict[str, bytes]:
    """All files of the job that are made from measured.json and stand as jawline wrote them."""
    manifest = Manifest.read(folder)
    own = (n for n in DRAWN if _is_own(folder / n, n, manifest))
    return {n: content_of(folder / n, MAX_FILE_MB, links=False) for n in own}


# -------------------------------------------------------------------------------------------------------------- writing
def check_writable(folder: Path, names: Iterable[str], force: bool) -> None:
    """Find out before any work is done whether its results may be written; nothing is made or changed.

    Raises:
        WrongUsage: the folder is read-only or a file, or one of the files is not jawline's own.
        JobRefused: there are links in it.
    """
    if os.path.exists(folder) and not os.path.isdir(folder):
        raise WrongUsage(f"{folder} is a file: give a folder for the job.", "no-job")
    names = tuple(names)
    refuse_links(folder, USED.union(names))
    stands = folder
    while not os.path.exists(stands) and stands != stands.parent:
        stands = stands.parent
    if not os.path.isdir(stands):
        raise _not_writable(folder, f"{stands} is a file")
    if not os.access(stands, os.W_OK | os.X_OK):
        raise _not_writable(folder, "permission denied")
    if not force:
        _check_own(folder, names, Manifest.read(folder))


def _check_own(folder: Path, names: Iterable[str], manifest: Manifest) -> None:
    for name in names:
        path = folder / name
        if not os.path.lexists(path):
            continue
        if path.is_dir():
            raise WrongUsage(f"{path} is a folder and stands in the way: choose another job folder.", "not-overwritten")
        if name not in manifest.files:
            raise WrongUsage(
                f"{path} is there already and was not written by jawline",
                "not-overwritten",
                Remedy("other-folder"),
                "move it away",
                Remedy("overwrite"),
            )
        if not _is_own(path, name, manifest):
            raise WrongUsage(
                f"{path} has been changed since jawline wrote it",
                "not-overwritten",
                "move it away to keep it",
                Remedy("overwrite"),
            )


def _is_own(path: Path, name: str, manifest: Manifest) -> bool:
    try:
        return fingerprint(content_of(path, MAX_FILE_MB, links=False)) in manifest.files.get(name, [])
    except OSError:
        return False


def _not_writable(folder: Path, reason: str) -> WrongUsage:
    return WrongUsage(f"Nothing can be written to {folder} ({reason}): choose another folder.", "not-writable")


def write(
    folder: Path,
    files: Mapping[str, bytes],
    *,
    force: bool = False,
    outdated: Iterable[str] = (),
    merged: Iterable[str] = (),
    taken: Iterable[str] = (),
    drawn: Mapping[str, str | None] | None = None,
) -> list[Path]:
    """Put a step's files into the job, all or none.

    Args:
        folder: the job; it is made when it is not there.
        files: name and content of each.
        force: overwrite files that are not jawline's own.
        outdated: files of later steps that no longer hold; they are taken away where they are jawline's own.
        merged: files whose new content holds all of the old one, so that they may be replaced whoever wrote them;
            what a person has changed goes on counting as theirs.
        taken: fingerprints of readings files, to be remembered.
        drawn: what these files are and the fit and the printer they were drawn for, where they are to be printed.

    Returns:
        The paths written.

    Raises:
        WrongUsage: the folder can't be written to, a file is not jawline's own, or others keep changing the job.
    """
    check_writable(folder, (), force)
    made = [p for p in (folder, *folder.parents) if not p.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with held(folder):
            check_writable(folder, set(files) - set(merged), force)
            leftovers.clear_left(folder)
            _put(folder, files, outdated, set(merged), taken, drawn)
    except OSError as why:
        for p in made:
            with contextlib.suppress(OSError):
                p.rmdir()  # only empty ones go
        in_use = isinstance(why, PermissionError) and why.filename2 is not None  # Windows, while a viewer has it open
        name = f"{folder / Path(why.filename2).name} is in use: " if in_use else ""
        raise _not_writable(folder, f"{name}{_reason(why)}") from None
    return [folder / name for name in files]


def _put(
    folder: Path,
    files: Mapping[str, bytes],
    outdated: Iterable[str],
    merged: set[str],
    taken: Iterable[str],
    drawn: Mapping[str, str | None] | None,
) -> None:
    """Write everything beside its place, then move it there; the manifest knows old and new files meanwhile."""
    manifest = Manifest.read(folder)
    own = [n for n in files if n not in merged or not (folder / n).exists() or _is_own(folder / n, n, manifest)]
    gone = [name for name in outdated if _is_own(folder / name, name, manifest)]
    with beside_place(folder) as beside:
        ready = {name: beside(name, content) for name, content in files.items()}
        for name in own:
            manifest.files[name] = [*manifest.files.get(name, [])[-1:], fingerprint(files[name])]
        os.replace(beside(MANIFEST, manifest.content()), folder / MANIFEST)
        for name, path in ready.items():
            os.replace(path, folder / name)
        for name in gone:
            (folder / name).unlink(missing_ok=True)
            del manifest.files[name]
        for name in own:
            manifest.files[name] = manifest.files[name][-1:]
        manifest.taken += [t for t in taken if t not in manifest.taken]
        if drawn is not None:
            manifest.drawn = {k: v for k, v in drawn.items() if v is not None}
        os.replace(beside(MANIFEST, manifest.content()), folder / MANIFEST)
    _settled(folder)


def _settled(folder: Path) -> None:
    """Have the folder's own entries on disk as well, where the system can: only then is a new name there for good."""
    with contextlib.suppress(OSError):
        entries = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(entries)
        finally:
            os.close(entries)


class _StagedFiles:
    """Writes files under other names in the folder, and clears away those that never reached their places."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.made = folder, set[Path]()

    def __call__(self, name: str, content: bytes) -> Path:
        path = self.folder / leftovers.beside(name)
        self.made.add(path)
        path.unlink(missing_ok=True)
        with open(path, "xb") as f:  # never through a link that somebody has put there
            f.write(content)
            f.flush()
            os.fsync(f.fileno())
        return path


@contextlib.contextmanager
def beside_place(folder: Path) -> Iterator[_StagedFiles]:
    """Files to be moved to their places in a folder once they are whole; see `_StagedFiles`."""
    beside = _StagedFiles(folder)
    try:
        yield beside
    finally:
        for path in beside.made:
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
