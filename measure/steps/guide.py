"""The page for owners, as a file."""

from __future__ import annotations

from pathlib import Path

from calib.errors import WrongUsage
from calib.languages import ENGLISH
from measure.job import job
from measure.steps import Done


def guide(out: Path, *, language: str = ENGLISH, force: bool = False) -> Done:
    """Write the page on how to take the photo.

    Args:
        out: a file that ends in .pdf or .html.
        language: of the page, by its code.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: another ending, or the file can't be written.
    """
    kind = out.suffix.lower()
    if kind not in (".pdf", ".html", ".htm"):
        raise WrongUsage(f"{out} ends neither in .pdf nor in .html: give one such as --out guide.pdf.", "guide-format")
    if out.is_dir():
        raise WrongUsage(f"{out} is a folder: give a file such as --out guide.pdf.", "not-a-file")
    job.check_writable(out.parent, (out.name,), force)
    if kind == ".pdf":
        from measure.guide.pdf import write_pdf as write
    else:
        from measure.guide.html import write_html as write
    written = job.write(out.parent, {out.name: write(language)}, force=force)
    return Done("guide", tuple(written), (f"Wrote {out}: hang it up, or send it along with the invitation.",))
