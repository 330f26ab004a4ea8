"""A job to a thin gauge, or to the whole part as a solid: 3MF and STL."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from calib.errors import PartRefused, WrongUsage
from calib.messages import Remedy
from calib.reference.found import Caution
from calib.tools.fits import Fit
from calib.tools.printer import Printer
from calib.words import Words
from measure.dimensioning.handedness import handedness
from measure.drawing.mesh import write_3mf, write_stl
from measure.drawing.step import has_kernel, write_step
from measure.geometry.features import Feature
from measure.geometry.offsetting import scaled
from measure.job import job
from measure.job.lock import alone
from measure.printing.light_parts import LIGHT_PARTS
from measure.printing.solids import Cut, NoSolid, Solid, solid, stretched
from measure.steps import Done
from measure.steps.corrected import corrected_drawing, correction_lines
from measure.steps.fit import fit_of, fitted
from measure.steps.measured import measured_record
from measure.steps.printer import printer_of
from measure.trial.corrections import Corrected


@alone
def gauge(
    folder: Path,
    *,
    fit: str | None = None,
    printer: str | None = None,
    thick_mm: float = 0.8,
    cut: Cut | None = None,
    force: bool = False,
) -> Done:
    """Write gauge.3mf and gauge.stl: a thin plate that shows in minutes whether the outline fits.

    Args:
        folder: the job.
        fit: name of the fit that the outline is drawn with; as measured when None.
        printer: name of a printer whose own figures are to be taken out.
        thick_mm: of the plate.
        cut: only a rim, or only the neighbourhood of some features.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: reconcile has not been run, no such fit or feature, or the folder can't be written to.
        PartRefused: no such solid can be made.
    """
    plain, found = corrected_drawing(folder, measured_record(folder))
    features = plain.features
    labels = {f.label for f in features}
    missing = [x for x in (cut.around if cut else ()) if x not in labels]
    if missing:
        raise WrongUsage(
            Words(
                "The outline has no {missing}: see the labels in {picture}.",
                missing=missing[0],
                picture=folder / job.PICTURE,
            ),
            "label",
        )
    return _made(folder, "gauge", features, found, _fit(fit), printer_of(printer), thick_mm, cut, force)


@alone
def whole(folder: Path, *, fit: str | None = None, printer: str | None = None, force: bool = False) -> Done:
    """Write solid.3mf and solid.stl: the outline with the part's own thickness; and solid.step, given a CAD kernel.

    Args:
        folder: the job.
        fit, printer: as for `gauge`.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: reconcile has not been run, no such fit, the thickness is not known, or the folder can't be written.
        PartRefused: no such solid can be made.
    """
    record = measured_record(folder)
    if record.thickness_mm <= 0:
        raise WrongUsage(Words("The part's thickness is not known"), "thickness", Remedy("read-thickness"))
    plain, found = corrected_drawing(folder, record)
    return _made(
        folder, "solid", plain.features, found, _fit(fit), printer_of(printer), record.thickness_mm, None, force
    )


def _fit(name: str | None) -> Fit | None:
    return None if name is None else fit_of(name)


def _made(
    folder: Path,
    what: Literal["gauge", "solid"],
    features: tuple[Feature, ...],
    trials: Corrected | None,
    fit: Fit | None,
    printer: Printer | None,
    thick_mm: float,
    cut: Cut | None,
    force: bool,
) -> Done:
    hand = handedness(features)
    names = job.GAUGES if what == "gauge" else job.SOLIDS
    job.check_writable(folder, names if what == "gauge" else (*names, job.STEP), force)
    moved = fitted(features, fit, printer)
    found = solid(moved, thick_mm, cut, number=fit.number if fit else 0)
    if isinstance(found, NoSolid):
        raise PartRefused(found.text, "no-solid")
    if printer:
        found = stretched(found, printer.shrinkage)
    files = {names[0]: write_3mf(found.mesh, f"{folder.name} {what}"), names[1]: write_stl(found.mesh)}
    exact, about_step = (None, ()) if what == "gauge" else _step(moved, thick_mm, printer, folder.name)
    if exact is not None:
        files[job.STEP] = exact
    told = {"what": what, "fit": fit.name if fit else None, "printer": printer.name if printer else None}
    outdated = () if what == "gauge" or exact is not None else (job.STEP,)
    written = job.write(folder, files, force=force, drawn=told, outdated=outdated)
    size = found.mesh.vertices_mm.max(0) - found.mesh.vertices_mm.min(0)
    room = f"{fit.side_mm:g} mm of room on each side ({fit.name}: {fit.words})" if fit else "sizes as measured"
    lines = (
        f"{size[0]:.1f} × {size[1]:.1f} × {size[2]:.1f} mm, {room}: {folder / names[0]}, also as .stl.",
        *correction_lines(trials),
        *((f"Corrected for the printer {printer.name}.",) if printer else ()),
        f"The photographed face is the upper one on the print bed{_mark(found)}.",
        *(() if hand.warning() else (hand.words(),)),
        *about_step,
    )
    cautions = [] if what == "gauge" else [Caution("light-parts", LIGHT_PARTS)]
    if hand.warning():
        cautions.append(Caution("nearly-mirrored", hand.warning()))
    if not found.marked:
        text = Words("There is no room for the mark: mark the upper face with a pen as it comes off the bed.")
        cautions.append(Caution("no-mark", text))
    result = {
        "size_mm": [round(float(v), 4) for v in size],
        "volume_mm3": round(found.volume_mm3, 3),
        "fit": fit.name if fit else None,
        "printer": printer.name if printer else None,
        "side_mm": fit.side_mm if fit else 0.0,
        "marked": found.marked,
        "mirror_image": hand.kind,
        "mirror_gap_mm": round(hand.gap_mm, 3),
    }
    return Done(what, tuple(written), lines, result, tuple(cautions))


def _step(
    features: tuple[Feature, ...], thick_mm: float, printer: Printer | None, name: str
) -> tuple[bytes | None, tuple[str, ...]]:
    """The STEP file, where a CAD kernel is at hand, and a line about it."""
    if not has_kernel():
        return None, (
            f"There is no {job.STEP}, since no CAD kernel is installed: pip install 'jawline[step]' adds it.",
        )
    scale = printer.stretch if printer else 1.0
    try:
        made = write_step(scaled(features, scale), thick_mm, name)
    except ValueError as why:
        return None, (f"There is no {job.STEP}: {why}.",)
    mean = ", the shrinkage as the mean of both axes" if printer else ""
    return made, (f"{job.STEP} has true lines and arcs for a CAD program, without the mark{mean}.",)


def _mark(made: Solid) -> str:
    if not made.marked:
        return ""
    if made.lettered:
        return (
            ", where UP is sunk into it; it reads the right way round there only, and the arrow shows the drawing's top"
        )
    return ", where an arrow is sunk into it that shows the drawing's top; its one barb is on the right there"
