"""The PDF measured back: lines read from its content stream by pypdf, black read from pypdfium2's picture of it.

A point is 1/72 inch; an A4 sheet measures 595.276 x 841.890 points (PDF reference; tc-lib-pdf's documentation).
"""

import io

import numpy as np
import pypdf
import pypdfium2
import pytest

from measure.drawing.pdf import write_pdf
from tests.drawn_parts import sheet_named

MM = 25.4 / 72


def pdf_of(name):
    return write_pdf(sheet_named(name))


def paths_of(data):
    """Points (n, 2) in mm of each path, with its line width in mm."""
    page = pypdf.PdfReader(io.BytesIO(data)).pages[0]
    out, now, width, pen = [], [], [0.0], [0.0]

    def see(operator, operands, matrix, _):
        a, b, c, d, e, f = (float(v) for v in matrix)
        if operator == b"w":
            width[0] = float(operands[0]) * a * MM
        if operator in (b"m", b"l", b"c"):
            if operator == b"m" and now:
                out.append((np.array(now) * MM, pen[0]))
                now.clear()
            if operator == b"m":
                pen[0] = width[0]
            x, y = (float(v) for v in operands[-2:])
            now.append((a * x + c * y + e, b * x + d * y + f))

    page.extract_text(visitor_operand_before=see)
    out.append((np.array(now) * MM, pen[0]))
    return out


def test_paper():
    page = pypdf.PdfReader(io.BytesIO(pdf_of("gusset"))).pages[0]
    assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx((595.276, 841.890), abs=1e-3)


@pytest.mark.parametrize("name", ["gusset", "long plate", "tiny latch"])
def test_the_bar_is_100_mm(name):
    sizes = [np.ptp(p, axis=0) for p, _ in paths_of(pdf_of(name)) if len(p) == 4]
    bars = [s for s in sizes if abs(s[1] - 1.6) < 1e-3 and s[0] > 20]
    assert len(bars) == 1
    assert bars[0][0] == pytest.approx(100.0, abs=0.01)


def test_the_bar_is_100_mm_in_the_picture():
    """Five black pieces and five white ones: the black ones begin 0, 20 … 80 mm and end 10, 30 … 90 mm along."""
    dpi = 600
    document = pypdfium2.PdfDocument(pdf_of("gusset"))
    grey = document[0].render(scale=dpi / 72, grayscale=True).to_numpy().squeeze().astype(float)
    paths = paths_of(pdf_of("gusset"))
    bar = next(p for p, _ in paths if len(p) == 4 and abs(np.ptp(p[:, 1]) - 1.6) < 1e-3 and np.ptp(p[:, 0]) > 20)
    row = round((297 - bar[:, 1].mean()) * dpi / 25.4)
    left = round((bar[:, 0].min() - 3) * dpi / 25.4)
    right = round((bar[:, 0].max() + 3) * dpi / 25.4)
    dark = 1 - grey[row, left:right] / 255
    steps = np.flatnonzero(np.diff(dark > 0.5))
    rising, falling = steps[::2], steps[1::2]
    wide = falling - rising > 100  # the black pieces, not the frame's lines
    begin = rising[wide] * 25.4 / dpi
    assert len(begin) == 5
    assert np.diff(begin[1:]) == pytest.approx(np.full(3, 20.0), abs=0.06)
    whole = 25.4 / dpi * (steps[-1] - steps[0])
    assert whole == pytest.approx(100.0 + 0.25, abs=0.1)  # over the outer lines, 0.25 mm wide


SIZES = [("gusset", (58.0, 41.0)), ("long plate", (262.0, 118.0)), ("bare square", (25.0, 25.0))]


@pytest.mark.parametrize(("name", "size"), SIZES)
def test_the_part_is_drawn_at_true_size(name, size):
    wide = [np.ptp(p, axis=0) for p, w in paths_of(pdf_of(name)) if abs(w - 0.5) < 1e-3 and len(p) > 3]
    part = max((s for s in wide if s[0] > 12), key=lambda s: s[0] * s[1])
    assert part == pytest.approx(size, abs=0.01)
