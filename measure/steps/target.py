"""The printed reference sheet as a file."""

from __future__ import annotations

from pathlib import Path

from calib.errors import WrongUsage
from calib.target.layout import LAYOUTS
from measure.drawing.target_pdf import target_pdf
from measure.job import job
from measure.steps import Done


def target(paper: str, out: Path, *, force: bool = False) -> Done:
    """Write the reference sheet.

    Args:
        paper: a4, letter or a5.
        out: the PDF file.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: no such paper, or the file can't be written.
    """
    layout = LAYOUTS.get(paper.strip().lower())
    if layout is None:
        raise WrongUsage(f"--paper is {', '.join(LAYOUTS)}, not “{paper}”.", "paper")
    if out.suffix.lower() != ".pdf":
        raise WrongUsage(f"{out} does not end in .pdf: give a file such as --out target.pdf.", "target-format")
    if out.is_dir():
        raise WrongUsage(f"{out} is a folder: give a file such as --out target.pdf.", "not-a-file")
    job.check_writable(out.parent, (out.name,), force)
    written = job.write(out.parent, {out.name: target_pdf(layout)}, force=force)
    lines = (
        f"Wrote {out}: page 1 for dark and coloured parts, page 2 for light ones. Print it at 100 %.",
        "Measure both bars on the paper, and give them with each photo: --bar-x 99.6 --bar-y 99.8",
    )
    return Done("target", tuple(written), lines, {"paper": layout.name})
