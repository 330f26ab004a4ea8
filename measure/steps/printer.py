"""A printer's test piece, and its figures from what the caliper reads on the print."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from pathlib import Path

from calib import user_data
from calib.errors import ReadingsRefused, WrongUsage
from calib.languages import ENGLISH
from calib.messages import Remedy
from calib.tools.jaws import TOOLS
from calib.tools.printer import Printer, read_printer
from calib.words import Words
from calib.written import is_reserved
from measure.drawing.mesh import write_3mf, write_stl
from measure.drawing.pdf import write_pdf
from measure.job import job, leftovers
from measure.job.lock import held
from measure.planning.planning import Suggestion
from measure.planning.worksheet import worksheet
from measure.printing import coupon
from measure.printing.solids import NoSolid, solid
from measure.readings.readings import number
from measure.steps import Done

VARIABLE = "JAWLINE_PRINTERS"
COUPON = ("coupon.3mf", "coupon.stl", "coupon.pdf")

OFF = 0.1, 0.5
"""A reading off its nominal size by more than this share and this, mm, is of another size (chosen)."""


def make_coupon(name: str, folder: Path, *, force: bool = False) -> Done:
    """Write the test piece and its worksheet.

    Args:
        name: of the printer.
        folder: where the files go.
        force: overwrite what is not jawline's own.

    Raises:
        WrongUsage: the name won't do, or the folder can't be written to.
    """
    name = _checked(name)
    job.check_writable(folder, COUPON, force)
    how = f"Then: jawline printer {name} 1=VALUE 2=VALUE … (at least {coupon.LEAST_READINGS} of them)"
    written = job.write(folder, coupon_files(Words("test piece for {name}", name=name), how), force=force)
    lines = (
        f"Print {folder / COUPON[0]} flat, arrow up and along y, in the material of the parts.",
        "Let it cool, take off any elephant's foot, and measure where "
        f"{folder / COUPON[2]} says. Then: jawline printer {name} 1=VALUE 2=VALUE …",
    )
    return Done("printer", tuple(written), lines, {"printer": name})


def coupon_files(title: str, how: str, language: str = ENGLISH) -> dict[str, bytes]:
    """The test piece as solid and mesh, and its worksheet.

    Args:
        title: of all three.
        how: where the values go, in words.
        language: of the worksheet, by its code.
    """
    features = coupon.features()
    piece = solid(features, coupon.THICK_MM)
    assert not isinstance(piece, NoSolid)
    rows = [Suggestion(s.kind, s.features, "caliper", s.nominal_mm, 0.0, 0) for s in coupon.SIZES]
    return {
        COUPON[0]: write_3mf(piece.mesh, title),
        COUPON[1]: write_stl(piece.mesh),
        COUPON[2]: write_pdf(worksheet(title, features, rows, how, language=language)),
    }


def known_printers() -> list[str]:
    """Names of the printers whose figures are kept."""
    place = user_data.folder("printers", VARIABLE)
    return sorted(p.stem for p in place.glob("*.json")) if place.is_dir() else []


def measure_printer(name: str, words: Sequence[str], *, tool: str = "caliper", force: bool = False) -> Done:
    """A printer's figures from readings, kept in the person's own folder.

    Args:
        name: of the printer.
        words: readings such as ``3=39.91``.
        tool: the caliper.
        force: keep figures although readings contradict each other.

    Raises:
        WrongUsage: the name or the tool won't do, or the figures can't be kept.
        ReadingsRefused: readings that can't be understood, are too few, or contradict each other.
    """
    name = _checked(name)
    if tool not in TOOLS or TOOLS[tool].leaf:
        raise WrongUsage(Words("The tool “{tool}” is no caliper that is known.", tool=tool), "tool")
    readings = [_reading(w) for word in words for w in word.split()]
    different = len({n for n, _ in readings})
    if different < coupon.LEAST_READINGS:
        raise ReadingsRefused(
            Words(
                "{different} of the test piece's sizes are too few: measure at least {least_readings}, "
                "outside and inside, both ways.",
                different=different,
                least_readings=coupon.LEAST_READINGS,
            ),
            "too-few",
        )
    found = coupon.printer_by(name, readings, tool)
    if found.doubtful and not force:
        raise ReadingsRefused(
            Words("Reading {doubtful} contradicts the others", doubtful=found.doubtful[0]),
            "contradiction",
            Words("measure it again"),
            Remedy("keep-all-the-same"),
        )
    path = _keep(found.printer)
    outside, inside, x, y = coupon.u95_mm(found.printer)
    p = found.printer
    lines = (
        Words(
            "{name}: outsides {outside_mm:+.3f} ± {outside:.3f} mm a side, insides {inside_mm:+.3f} "
            "± {inside:.3f} mm a side.",
            name=name,
            outside_mm=p.outside_mm,
            outside=outside,
            inside_mm=-p.inside_mm,
            inside=inside,
        ),
        Words(
            "Shrinkage {shrinkage:.2f} ± {x:.2f} % along x, {p_shrinkage:.2f} ± {y:.2f} % along y.",
            shrinkage=100 * p.shrinkage[0],
            x=100 * x,
            p_shrinkage=100 * p.shrinkage[1],
            y=100 * y,
        ),
        f"Kept in {path}. With --printer {name} gauges, solids and fits are drawn so that they come out right.",
    )
    figures = dict(zip(("outside_mm", "inside_mm", "shrinkage_x", "shrinkage_y"), p.figures().tolist(), strict=True))
    result = {"printer": name, **{k: round(v, 5) for k, v in figures.items()}, "u95": [outside, inside, x, y]}
    return Done("printer", (path,), lines, result)


def printer_of(name: str | None) -> Printer | None:
    """A printer's figures by its name.

    Raises:
        WrongUsage: there are none of that name.
    """
    if name is None:
        return None
    name = _checked(name)
    path = user_data.folder("printers", VARIABLE) / f"{name}.json"
    if not path.is_file():
        known = ", ".join(known_printers())
        raise WrongUsage(
            Words("There are no figures for a printer “{name}”, known are {known}", name=name, known=known)
            if known
            else Words("There are no figures for a printer “{name}”", name=name),
            "printer",
            Remedy("printer-figures", name),
        )
    return read_printer(path)


def _checked(name: str) -> str:
    text = name.strip()
    if not re.fullmatch(r"[A-Za-z0-9][\w-]{0,39}", text) or is_reserved(text):
        raise WrongUsage(
            Words("A printer's name is letters, digits and dashes, up to 40, not “{name}”.", name=name), "printer-name"
        )
    return text


def _reading(word: str) -> tuple[int, float]:
    m = re.fullmatch(r"([0-9]{1,3})=(.{1,40})", word)
    numbers = [s.number for s in coupon.SIZES]
    if not m or int(m[1]) not in numbers:
        raise ReadingsRefused(
            Words(
                "“{word}” is no reading of the test piece: write the number on its sheet and the value, "
                "like 3=39.91 ({numbers} to {numbers2}).",
                word=word,
                numbers=numbers[0],
                numbers2=numbers[-1],
            ),
            "reading",
        )
    value = number(m[2].removesuffix("mm"))
    nominal = next(s.nominal_mm for s in coupon.SIZES if s.number == int(m[1]))
    if value is None or abs(value - nominal) > OFF[0] * nominal + OFF[1]:
        raise ReadingsRefused(
            Words(
                "“{word}”: number {m} is {nominal:g} mm as drawn; a print is never so far off.",
                word=word,
                m=m[1],
                nominal=nominal,
            ),
            "reading",
        )
    return int(m[1]), value


def _keep(printer: Printer) -> Path:
    """The file, written beside its place first."""
    place = user_data.folder("printers", VARIABLE)
    path = place / f"{printer.name}.json"
    try:
        place.mkdir(parents=True, exist_ok=True)
        with held(place), job.beside_place(place) as beside:
            leftovers.clear_left(place)
            os.replace(beside(path.name, printer.text().encode()), path)
    except OSError as why:
        raise WrongUsage(
            Words("{path} can't be written ({value}).", path=path, value=(why.strerror or str(why)).lower()), "printer"
        ) from None
    return path
