"""The page for owners: one page, pictures drawn, nothing from elsewhere, never over a person's own file."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import pypdf
import pytest

from measure.cli.app import app
from measure.cli.run import run
from measure.guide import words
from measure.guide.html import write_html
from measure.guide.pdf import write_pdf
from measure.guide.pictures import HEIGHT, PICTURES, WIDTH, picture


def test_the_pdf_is_one_page_of_a4_without_a_bitmap() -> None:
    reader = pypdf.PdfReader(io.BytesIO(write_pdf()))
    assert len(reader.pages) == 1
    page = reader.pages[0]
    assert [float(v) * 25.4 / 72 for v in page.mediabox[2:]] == pytest.approx([210, 297], abs=0.1)
    assert list(page.images) == []
    assert reader.metadata is not None
    assert reader.metadata.title == words.TITLE


def test_the_pdf_says_everything() -> None:
    text = " ".join(pypdf.PdfReader(io.BytesIO(write_pdf())).pages[0].extract_text().split())
    for said in (words.TITLE, words.LEAD, *(s.text for s in words.STEPS), *(t for _, t in words.BOXES)):
        assert said in text


def test_no_words_run_off_the_page() -> None:
    pieces: list[tuple[float, float]] = []

    def seen(text: str, outer: list[float], inner: list[float], *_: object) -> None:
        if text.strip():
            a, b, c, d, x, y = outer
            at = (a * inner[4] + c * inner[5] + x, b * inner[4] + d * inner[5] + y)
            pieces.append((at[0] * 25.4 / 72, at[1] * 25.4 / 72))

    pypdf.PdfReader(io.BytesIO(write_pdf())).pages[0].extract_text(visitor_text=seen)
    assert len(pieces) > 40
    assert all(12 < x < 195 and 12 < y < 285 for x, y in pieces)


def test_the_same_page_every_time() -> None:
    assert write_pdf() == write_pdf()
    assert write_html() == write_html()


class Page(HTMLParser):
    """Tags, attributes and text of a page."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: dict[str, list[str]] = {}
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        for name, value in attrs:
            self.attributes.setdefault(name, []).append(value or "")

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_html_needs_nothing_from_elsewhere() -> None:
    source = write_html().decode()
    page = Page(source)
    assert not {"img", "script", "link", "iframe", "image", "object"} & set(page.tags)
    assert not {"src", "href", "xlink:href", "id"} & set(page.attributes)
    assert "url(" not in source
    assert "data:" not in source
    assert re.findall(r"https?://\S+", source) == ['http://www.w3.org/2000/svg"'] * len(words.STEPS)
    assert "width=device-width, initial-scale=1" in page.attributes["content"]
    for step in words.STEPS:
        assert step.text in page.text


def test_every_picture_is_sound_svg_that_says_what_it_shows() -> None:
    found = re.findall(r"<svg.*?</svg>", write_html().decode(), re.S)
    assert len(found) == len(words.STEPS) == len(PICTURES)
    for svg, step in zip(found, words.STEPS, strict=True):
        root = ElementTree.fromstring(svg)
        assert root.attrib["aria-label"] == step.shows
        assert root.attrib["viewBox"] == f"0 0 {WIDTH} {HEIGHT}"
        assert len(list(root.iter())) > 8


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_pictures_keep_inside_their_frame(name: str) -> None:
    x0, y0, x1, y1 = picture(name).getBounds()
    assert x0 >= -1
    assert y0 >= -1
    assert x1 <= WIDTH + 1
    assert y1 <= HEIGHT + 1


def test_the_command_writes_both_and_spares_a_persons_file(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    for name, start in (("guide.pdf", b"%PDF"), ("guide.HTML", b"<!DOCTYPE html>")):
        assert run(app, ["guide", "--out", str(tmp_path / name)]) == 0
        assert (tmp_path / name).read_bytes().startswith(start)
        assert run(app, ["guide", "--out", str(tmp_path / name)]) == 0
    (tmp_path / "mine.pdf").write_text("my notes")
    assert run(app, ["guide", "--out", str(tmp_path / "mine.pdf")]) == 2
    assert (tmp_path / "mine.pdf").read_text() == "my notes"
    assert run(app, ["guide", "--out", str(tmp_path / "mine.pdf"), "--force"]) == 0
    for bad in ("guide.txt", "guide"):
        assert run(app, ["guide", "--out", str(tmp_path / bad)]) == 2
    capsys.readouterr()
