"""The page as HTML: one file, nothing from elsewhere, read as well on a phone as on paper."""

from __future__ import annotations

import re
from html import escape

from calib.languages import ENGLISH
from measure.guide import words
from measure.guide.pictures import FONT, HEIGHT, WIDTH, picture

STYLE = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1.2rem; max-width: 60rem; background: #fff; color: #22303c;
  font: 1rem/1.5 system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", sans-serif; }
h1 { margin: 0 0 .6rem; color: #0f6b5c; font-size: clamp(1.6rem, 5vw, 2.3rem); line-height: 1.15; text-wrap: balance; }
.lead { margin: 0 0 1.6rem; font-size: 1.1rem; max-width: 46rem; }
ol { list-style: none; margin: 0; padding: 0; display: grid; gap: 1.5rem 2rem;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 24rem), 1fr)); }
li { display: grid; grid-template-columns: minmax(7rem, 11rem) 1fr; gap: 1rem; align-items: start;
  break-inside: avoid; }
li svg { display: block; width: 100%; height: auto; }
h2 { margin: .1rem 0 .3rem; font-size: 1.1rem; line-height: 1.25; }
h2 span { color: #0f6b5c; margin-right: .35em; }
p { margin: 0; }
.boxes { display: grid; gap: 1rem; margin-top: 1.8rem;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 17rem), 1fr)); }
.boxes section { background: #eaf3ef; border-radius: .7rem; padding: 1rem 1.1rem; break-inside: avoid; }
.boxes h2 { color: #0f6b5c; }
@media (max-width: 30rem) { li { grid-template-columns: 1fr; gap: .5rem; }
  li svg { max-width: 17rem; margin: 0 auto; } }
@media print { @page { size: A4; margin: 13mm; } body { padding: 0; max-width: none; font-size: 9.5pt; }
  ol { grid-template-columns: 1fr 1fr; gap: 5mm 7mm; } li { grid-template-columns: 36mm 1fr; }
  .boxes { grid-template-columns: 1fr 1.4fr 1fr; } .boxes section { print-color-adjust: exact; } }
"""


def write_html(language: str = ENGLISH) -> bytes:
    """The page as an HTML file of its own."""
    page = words.page_in(language)
    steps = "\n".join(_step(n, s) for n, s in enumerate(page.steps, 1))
    boxes = "\n".join(f"<section><h2>{escape(h)}</h2><p>{escape(t)}</p></section>" for h, t in page.boxes)
    html = f"""<!DOCTYPE html>
<html lang="{language}">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="generator" content="jawline">
<title>{escape(page.title)}</title>
<style>{STYLE}</style>
</head>
<body>
<h1>{escape(page.title)}</h1>
<p class="lead">{escape(page.lead)}</p>
<ol>
{steps}
</ol>
<div class="boxes">
{boxes}
</div>
</body>
</html>
"""
    return html.encode()


def _step(number: int, step: words.GuideStep) -> str:
    head = f"<h2><span>{number}</span>{escape(step.head)}</h2>"
    return f"<li>{svg(step.picture, step.shows)}<div>{head}<p>{escape(step.text)}</p></div></li>"


def svg(name: str, shows: str) -> str:
    """A picture as an element of the page: no size, no names that another picture may have as well."""
    from reportlab.graphics import renderSVG

    whole: str = renderSVG.drawToString(picture(name))
    inner = whole[whole.index(">", whole.index("<svg")) + 1 : whole.rindex("</svg>")]
    inner = re.sub(r"<(title|desc)>.*?</\1>|<clipPath.*?</clipPath>|<defs>.*?</defs>", "", inner, flags=re.S)
    inner = re.sub(r'\s(id|clip-path)="[^"]*"|\sstyle="clip-path: [^"]*"|\stransform=""', "", inner)
    inner = re.sub(rf"font-family: {FONT};?", "font-family: sans-serif; font-weight: bold;", inner)
    inner = re.sub(r"\s+", " ", inner).strip()
    label = escape(shows, quote=True)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{label}">'
        f"{inner}</svg>"
    )
