"""The finished sheet: nothing overlaps, everything is on the paper, and all three files say the same."""

import io
import itertools
import math
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon

from measure.drawing.dxf import write_dxf
from measure.drawing.pdf import write_pdf
from measure.drawing.svg import write_svg
from measure.geometry import features
from measure.geometry.motion import Motion
from measure.geometry.outline_path import loops
from measure.sheet.lettering import decimals, drawable, figures, fitted, width_mm, wrapped
from measure.sheet.marks import WIDE, Path, Text, bulge_arc, placed, polylines
from measure.sheet.sheet import Allowance, Drawing, sketch
from tests.drawn_parts import completed_plate, drawn_parts, estimate_of, sheet_named
from tests.sheet_faults import box, inks, marks_of, outside_the_frame, touching_words

PARTS = drawn_parts()


def sheet_of(name, **more):
    features = PARTS[name]
    return sketch(Drawing(name, features, estimate=estimate_of(features), thickness_mm=4.2, **more))


@pytest.fixture(scope="module")
def sheets():
    return {name: sheet_named(name) for name in PARTS}


@pytest.mark.parametrize("name", PARTS)
def test_no_word_touches_another_word_or_a_line(sheets, name):
    assert touching_words(sheets[name]) == []


@pytest.mark.parametrize("name", PARTS)
def test_all_is_inside_the_frame(sheets, name):
    assert outside_the_frame(sheets[name]) == []


@pytest.mark.parametrize("name", PARTS)
def test_no_dimension_line_runs_through_the_part(sheets, name):
    s = sheets[name]
    part = Polygon(polylines(s.outline[0], 0.01))
    for d in s.drawn:
        if d.wanted.form == "linear" and min(abs(math.sin(d.angle_rad)), abs(math.cos(d.angle_rad))) < 0.01:
            assert part.distance(LineString(polylines(d.marks[0]))) >= 9.9


@pytest.mark.parametrize("name", PARTS)
def test_level_and_upright_dimension_lines_do_not_cross(sheets, name):
    lines = [LineString(polylines(d.marks[0])) for d in sheets[name].drawn if d.wanted.form == "linear"]
    for a, b in itertools.combinations(lines, 2):
        assert not a.crosses(b)


@pytest.mark.parametrize("name", PARTS)
def test_every_dimension_finds_room(sheets, name):
    assert sheets[name].listed == ()


def test_sizes_of_paper(sheets):
    assert sheets["gusset"].name == "A4"
    assert sheets["long plate"].name == "A3"
    assert (sheets["gusset"].width_mm, sheets["gusset"].height_mm) == (210, 297)


def test_words_are_as_wide_as_the_font_says():
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    pdfmetrics.registerFont(TTFont("Vera", "Vera.ttf"))
    for words in ("4× R3.00 ±0.12", "Ø5.20", "49.6°", "(115.50)", "THIS SIDE UP", "Größe, naïve ½ Žižek"):
        ems = pdfmetrics.stringWidth(words, "Vera", 1)
        assert width_mm(words, 1493 / 2048) == pytest.approx(0.82 * ems, rel=2e-3)


# ---------------------------------------------------------------- numbers and words
@pytest.mark.parametrize(
    ("value", "u95", "angle", "words"),
    [
        (24.314, 0.066, False, ("24.31", "±0.07")),
        (24.314, 0.15, False, ("24.31", "±0.15")),
        (24.314, 0.31, False, ("24.3", "±0.3")),
        (24.314, 0.002, False, ("24.31", "±0.01")),
        (124.0, 3.4, False, ("124", "±3")),
        (49.63, 0.44, True, ("49.6°", "±0.4°")),
        (49.63, 0.04, True, ("49.6°", "±0.1°")),
        (3.0, None, False, ("3.00", "")),
    ],
)
def test_decimals_follow_the_uncertainty(value, u95, angle, words):
    assert figures(value, u95, angle) == words


def test_decimal_comma_on_demand():
    assert figures(24.314, 0.066, mark=",") == ("24,31", "±0,07")
    s = sheet_of("gusset", decimal_mark=",")
    assert all("." not in d.caption.words for d in s.drawn)


def test_decimals_never_grow_with_the_uncertainty():
    given = [decimals(u) for u in np.geomspace(0.001, 20, 200)]
    assert given == sorted(given, reverse=True)


def test_words_outside_the_font_are_replaced():
    assert drawable("⌀5 – šroub") == "Ø5 – šroub"
    assert drawable("ńandú") == "nandú"
    assert drawable("ручка") == "?????"


def test_long_words_fit():
    assert width_mm(fitted("a very long name of a part", 3.5, 30), 3.5) <= 30
    assert fitted("short", 3.5, 30) == "short"
    lines = wrapped("some words that go on for a while and then " + "x" * 200, 2.5, 60)
    assert all(width_mm(line, 2.5) <= 60 for line in lines)


@pytest.mark.parametrize("name", ["", "x" * 300, "Hebel für Griff «links» & <rechts>", "ручка 42"])
def test_any_name_fits_the_title_block(name):
    features = PARTS["bare square"]
    s = sketch(Drawing(name, features, estimate=estimate_of(features), reference="r" * 200, date="d" * 90))
    texts = [m for m in s.marks if isinstance(m, Text)]
    ink = shapely.STRtree(inks(marks_of(s)))
    assert not ink.query([box(t) for t in texts], predicate="intersects").size
    ElementTree.fromstring(write_svg(s))
    assert write_pdf(s).startswith(b"%PDF-")
    assert b"OUTLINE" in write_dxf(s)


def words_of(sheet):
    return " ".join(m.content.strip() for m in sheet.marks if isinstance(m, Text))


def test_the_title_block_tells_what_a_reader_needs(sheets):
    words = words_of(sheet_of("gusset", reference="bank-size card (ID-1)", date="2026-11-25", readings=3))
    for wanted in (
        "gusset",
        "the photographed face",
        "4.20",
        "1:1",
        "A4, 1 of 1",
        "2026-11-25",
        "bank-size card (ID-1)",
        "photo and 3 caliper readings",
        "Least sure length",
        "THIS SIDE UP",
        "100 mm",
        "19 times in 20",
        "Caution: Check the sizes",
    ):
        assert wanted in words, wanted


def test_the_largest_uncertainty_is_that_of_a_stated_length(sheets):
    s = sheets["gusset"]
    worst = max(d.wanted.stated.u95 for d in s.drawn if not d.wanted.stated.is_angle and not d.wanted.auxiliary)
    assert f"±{worst:.2f} mm" in words_of(s)


def test_warnings_are_printed():
    assert "Warning: The card was tilted." in words_of(sheet_of("gusset", warnings=(("tilt", "The card was tilted."),)))


def test_mirror_warning(sheets):
    assert "differs from its mirror image by 0.8 mm only, at D" in words_of(sheets["nearly even plate"]) or (
        "only the holes do (0.8 mm at D" in words_of(sheets["nearly even plate"])
    )
    assert "only the holes do" in words_of(sheets["knob of twelve arcs"])
    for name in ("gusset", "open ring", "plate with six holes", "bare square"):
        assert "Mirror image" not in words_of(sheets[name])


def test_an_opening_is_seen_from_its_side():
    features = PARTS["bare square"]
    words = words_of(sketch(Drawing("hatch", features, subject="opening")))
    assert "the photographed side" in words
    assert "Sketch of an opening" in words
    assert "not measured" in words


@pytest.mark.parametrize(
    ("subject", "fit", "words"),
    [
        ("part", "sliding", "Part for a sliding fit, from one photo"),
        ("opening", "snug", "Part for a snug fit, from one photo"),
        ("part", "", "Part after trial prints, from one photo"),
    ],
)
def test_the_kind_of_drawing_is_that_of_what_is_made(subject, fit, words):
    features = PARTS["bare square"]
    drawn = sketch(Drawing("hatch", features, subject=subject, allowance=Allowance(features, "Drawn for it.", fit=fit)))
    assert words in words_of(drawn)
    assert "Sketch" not in words_of(drawn)


def test_a_completed_part_shows_what_was_not_seen():
    whole, fracture = completed_plate()
    s = sketch(Drawing("plate", whole, estimate=estimate_of(whole), broken=fracture))
    assert [m.layer for m in s.outline].count("COMPLETED") == 1
    assert any(m.layer == "FRACTURE" for m in s.marks)
    assert "completed where the part is broken" in words_of(s)
    outline = write_dxf(s)
    assert b"LWPOLYLINE" in outline


def test_a_table_gives_what_the_dimensions_do_not(sheets):
    words = words_of(sheets["uneven wheel"])
    assert "E36" in words
    assert "places from D1" in words
    assert "one tooth" in words_of(sheets["even wheel"])


def test_labels_of_the_features_are_on_the_drawing(sheets):
    for name in ("gusset", "slotted bar", "clip", "uneven wheel"):
        shown = {m.content for m in sheets[name].marks if isinstance(m, Text) and m.layer == "LABELS"}
        assert len(shown) >= 0.9 * len(PARTS[name])


def test_the_sheet_is_the_same_every_time():
    a, b = sheet_of("clip"), sheet_of("clip")
    assert write_svg(a) == write_svg(b)
    assert write_pdf(a) == write_pdf(b)


# ---------------------------------------------------------------- the files
def test_svg_is_in_millimetres_and_holds_the_words(sheets):
    s = sheets["gusset"]
    root = ElementTree.fromstring(write_svg(s))
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert [float(v) for v in root.get("viewBox").split()] == [0, 0, 210, 297]
    texts = [e.text for e in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "58.00" in texts
    assert "Ø5.20" in texts
    groups = {e.get("id") for e in root.iter("{http://www.w3.org/2000/svg}g")}
    assert {"outline", "dimensions", "centre", "labels", "notes", "title"} <= groups


def test_svg_outline_is_the_part(sheets):
    """The outline's path, read back from its commands, has the area of the part."""
    s = sheets["bare square"]
    root = ElementTree.fromstring(write_svg(s))
    group = next(e for e in root.iter("{http://www.w3.org/2000/svg}g") if e.get("id") == "outline")
    numbers = [float(v) for v in re.findall(r"-?[\d.]+", group[0].get("d"))]
    points = np.array(numbers).reshape(-1, 2)
    assert Polygon(points).area == pytest.approx(625.0, abs=1e-3)


def test_pdf_has_one_page_of_the_papers_size(sheets):
    import pypdf

    reader = pypdf.PdfReader(io.BytesIO(write_pdf(sheets["long plate"])))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert float(box.width) == pytest.approx(420 * 72 / 25.4, abs=0.01)
    assert float(box.height) == pytest.approx(297 * 72 / 25.4, abs=0.01)
    assert reader.trailer["/Root"]["/ViewerPreferences"]["/PrintScaling"] == "/None"
    assert "262.0" in reader.pages[0].extract_text()
    fonts = reader.pages[0]["/Resources"]["/Font"]
    assert any("Vera" in str(f.get_object()["/BaseFont"]) for f in fonts.values())


def test_placing_a_mark_keeps_its_shape():
    arc = Path(((0.0, 0.0, math.tan(math.pi / 8)), (10.0, 0.0, 0.0)), "OUTLINE", WIDE)
    moved = placed(arc, Motion(0.7, (3.0, -2.0)))
    a = LineString(polylines(arc, 1e-4)).length
    assert LineString(polylines(moved, 1e-4)).length == pytest.approx(a)
    assert a == pytest.approx(math.pi / 2 * math.sqrt(50), rel=1e-5)


def test_bulge_arc_is_the_arc_that_it_stands_for():
    for deg in (20, 90, 180, -90, 270):
        centre, radius, start, sweep = bulge_arc((1.0, 2.0), (4.0, 3.0), math.tan(math.radians(deg) / 4))
        end = start + sweep
        assert sweep == pytest.approx(math.radians(deg))
        at = (centre[0] + radius * math.cos(end), centre[1] + radius * math.sin(end))
        assert at == pytest.approx((4.0, 3.0))


def test_a_loop_of_one_circle_stays_a_circle():
    (hole,) = loops([features.Circle("D1", 0, (1.0, 2.0), 3.0)])
    assert isinstance(hole, features.Circle)
