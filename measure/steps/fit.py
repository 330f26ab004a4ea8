"""A job's drawing with room left for a fit."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal

import numpy as np

from calib.errors import PartRefused, WrongUsage
from calib.languages import ENGLISH
from calib.tools.fits import FITS, Fit, clearance_hole
from calib.tools.printer import Printer
from calib.words import Words, joined
from measure.drawing.dxf import write_dxf
from measure.drawing.pdf import write_pdf
from measure.drawing.svg import write_svg
from measure.geometry.features import Estimate, Feature
from measure.geometry.offsetting import NoOffset, offset, scaled
from measure.job import job
from measure.job.lock import alone
from measure.sheet import sheet
from measure.steps import Done, counted
from measure.steps.corrected import corrected_drawing, correction_lines
from measure.steps.measured import measured_record
from measure.steps.printer import printer_of

SCREW_WITHIN_MM = 0.1
"""How near a hole must come to a standard clearance hole for that to be suggested."""


@alone
def fit(folder: Path, *, name: str, printer: str | None = None, language: str = ENGLISH, force: bool = False) -> Done:
    """Write fit.dxf, fit.svg and fit.pdf: the sketch with the fit's room taken off all round.

    Args:
        folder: the job.
        name: of the fit.
        printer: name of a printer whose own figures are to be taken out.
        language: of the drawing, by its code.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: reconcile has not been run, no such fit, or the folder can't be written to.
        PartRefused: the outline is too narrow somewhere.
    """
    record = measured_record(folder)
    chosen = fit_of(name)
    job.check_writable(folder, job.FITS, force)
    plain, found = corrected_drawing(folder, record, language=language)
    own = printer_of(printer)
    drawn = sheet.sketch(fitted_drawing(plain, chosen, own))
    room = f"{chosen.side_mm:g} mm on each side"
    files = dict(zip(job.FITS, (write_dxf(drawn), write_svg(drawn), write_pdf(drawn)), strict=True))
    written = job.write(folder, files, force=force, drawn={"what": "fit", "fit": chosen.name, "printer": printer})
    screws = [s for f in plain.features if (s := _screw(f))]
    pdf = job.FITS[2]
    lines = (
        f"{chosen.name}: {chosen.words}, {room}. {counted(len(drawn.drawn), 'dimension')}: {folder / pdf}, also as "
        ".svg and .dxf.",
        *correction_lines(found),
        *screws,
        f"Corrected for the printer {own.name}, the shrinkage as the mean of both axes."
        if own
        else "The room suits a printer whose own errors have been taken out (--printer): prove it with jawline gauge.",
    )
    result = {"fit": chosen.name, "printer": printer, "side_mm": chosen.side_mm, "screws": screws}
    return Done("fit", tuple(written), lines, result)


def fitted_drawing(plain: sheet.Drawing, chosen: Fit | None, own: Printer | None) -> sheet.Drawing:
    """The drawing with a fit's room left and a printer's own figures taken out.

    Raises:
        PartRefused: the outline is too narrow somewhere.
    """
    if chosen is None and own is None:
        return plain
    moved = fitted(plain.features, chosen, own)
    if own:
        moved = scaled(moved, own.stretch)
    words: list[str] = []
    if chosen:
        told = {"fit": Words(chosen.name), "words": chosen.words, "side_mm": chosen.side_mm}
        words.append(
            Words(
                "Drawn for a {fit} fit ({words}): {side_mm:g} mm on each side less than what was measured, holes "
                "larger.",
                **told,
            )
            if plain.subject == "part"
            else Words(
                "Drawn is the part that goes into the opening, for a {fit} fit ({words}): {side_mm:g} mm on each side "
                "less than what was measured, holes larger.",
                **told,
            )
        )
    if own:
        words.append(Words("Corrected for the printer {name}.", name=own.name))
    before = plain.allowance.before if plain.allowance else plain.features
    said = [plain.allowance.words] if plain.allowance else []
    column: Literal["Room", "Change"] = "Change" if said else "Room"
    return replace(
        plain,
        features=moved,
        dimensions=(),
        estimate=_moved_estimate(plain.estimate, moved) if plain.estimate else None,
        allowance=sheet.Allowance(before, joined(" ", [*said, *words]), column, chosen.name if chosen else ""),
    )


def fit_of(name: str) -> Fit:
    """A fit by its name.

    Raises:
        WrongUsage: there is none of that name.
    """
    if name.strip().lower() not in FITS:
        raise WrongUsage(
            Words("“{name}” is no fit that is known; the fits are {fits}.", name=name, fits=", ".join(FITS)), "fit"
        )
    return FITS[name.strip().lower()]


def fitted(features: tuple[Feature, ...], fit: Fit | None, printer: Printer | None = None) -> tuple[Feature, ...]:
    """The outline with the fit's room left on every side, and what the printer swells by taken off.

    Raises:
        PartRefused: the outline is too narrow somewhere.
    """
    room = fit.side_mm if fit else 0.0
    outer, inner = (printer.outside_mm, printer.inside_mm) if printer else (0.0, 0.0)
    if not (room or outer or inner):
        return features
    moved = offset(features, -room - outer, -room - inner)
    if isinstance(moved, NoOffset):
        raise PartRefused(Words("{text} Choose a tighter fit.", text=moved.text), "too-narrow")
    return moved


def _moved_estimate(before: Estimate, moved: tuple[Feature, ...]) -> Estimate:
    """The covariance goes along: room is added without an error of its own. Arcs that have gone take theirs away."""
    at = before.slices()
    kept = np.concatenate([np.arange(at[f.label].start, at[f.label].stop) for f in moved]).astype(int)
    return replace(before, features=moved, white=before.white[np.ix_(kept, kept)], sensitivity=before.sensitivity[kept])


def _screw(f: Feature) -> str:
    """A word on a hole that suits a screw."""
    if f.kind != "circle" or f.loop == 0:
        return ""
    found = clearance_hole(2 * f.radius, SCREW_WITHIN_MM)
    return f"{f.label} suits an {found[0]} screw (ISO 273, {found[1]})." if found else ""
