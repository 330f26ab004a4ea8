"""What is long, many or missing: names, sixty features, a refused photo, a bench that does not answer."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

LONG = "hinge of the very long kitchen cupboard by the window, second from the left, " + "unbrokenword" * 6

SLIP = {
    "key": "a", "kind": "width", "features": ["E1", "E7"], "value_mm": 21.02, "verdict": "suspect",
    "reason": "0.98 mm less than expected: jaws skewed?",
}  # fmt: skip

OVERLAPS = """() => {
  const boxes = [...document.querySelectorAll(".tag:not(.dot) rect")].map(r => r.getBoundingClientRect());
  const over = [".zoom", ".hidden-labels"].map(s => document.querySelector(s).getBoundingClientRect());
  const hit = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  const pairs = boxes.flatMap((a, i) => boxes.slice(i + 1).filter(b => hit(a, b)));
  return { shown: boxes.length, overlaps: pairs.length, covered: boxes.filter(b => over.some(o => hit(b, o))).length };
}"""


def sixty(state: Any) -> Any:
    """The same job with a wheel of sixty straight edges. Invented."""
    n, centre, radius = 60, (1000.0, 700.0), 420.0

    def at(k: int) -> tuple[float, float]:
        r = radius * (1 if k % 2 else 0.9)
        return centre[0] + r * math.cos(2 * math.pi * k / n), centre[1] + r * math.sin(2 * math.pi * k / n)

    features = []
    for k in range(n):
        (x0, y0), (x1, y1) = at(k), at(k + 1)
        path = f"M{x0:.1f},{y0:.1f}L{x1:.1f},{y1:.1f}"
        features.append(
            {"label": f"E{k + 1}", "kind": "line", "loop": 0, "origin": "seen", "path": path, "label_at": [x0, y0]}
        )
    return state | {"features": features, "dimensions": [], "readings": [], "next": None, "name": LONG}


def served(page: Any, job: str, state: Any) -> None:
    page.route(f"**/api/jobs/{job}", lambda route: route.fulfill(json=state))
    page.reload()


@pytest.mark.parametrize(("width", "height"), [(390, 844), (1024, 768)])
def test_sixty_labels_do_not_pile_up(
    window: Callable[..., Any], bench: Any, traced: str, width: int, height: int
) -> None:
    page = window(f"/job/{traced}#outline", width=width, height=height)
    served(page, traced, sixty(bench.state(traced)))
    page.locator(".tag").first.wait_for(state="attached")
    page.wait_for_timeout(300)
    seen = page.evaluate(OVERLAPS)
    assert seen["shown"] >= 12
    assert seen["overlaps"] == 0
    assert seen["covered"] == 0
    if seen["shown"] < 60:
        assert "zoom in" in page.inner_text("#hidden-labels")
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_long_name_stays_in_its_place(window: Callable[..., Any], bench: Any, traced: str) -> None:
    for width in (390, 1024):
        page = window(f"/job/{traced}#readings", width=width)
        served(page, traced, sixty(bench.state(traced)))
        page.locator(".feature").first.wait_for(state="attached")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.locator("#tab-drawing").bounding_box()["x"] < width - 60


OUTSIDE = """() => [...document.querySelectorAll("button, input, select, textarea, .pill, .readings li > *, .tag text")]
  .filter(e => e.getBoundingClientRect().width && !e.closest(".skip"))
  .filter(e => e.matches("text")
    ? e.getBoundingClientRect().width > e.previousSibling.getBoundingClientRect().width
    : e.getBoundingClientRect().left < -1 || e.getBoundingClientRect().right > innerWidth + 1)
  .map(e => e.id || e.textContent)"""


@pytest.mark.parametrize("width", [360, 820])
def test_letters_twice_as_large_keep_within_the_page(
    window: Callable[..., Any], bench: Any, traced: str, width: int
) -> None:
    """WCAG 2.2, 1.4.4: text at 200 %, set in the browser as its standard size, 16 px elsewhere."""
    page = window("/", width=width)
    page.context.new_cdp_session(page).send("Page.setFontSizes", {"fontSizes": {"standard": 32, "fixed": 26}})
    state = bench.state(traced) | {"name": LONG, "readings": [SLIP]}
    page.route(f"**/api/jobs/{traced}", lambda route: route.fulfill(json=state))
    for path in ("/", *(f"/job/{traced}#{tab}" for tab in ("outline", "readings", "drawing"))):
        page.goto(path)
        page.locator("#list li, .tag:not(.dot)").first.wait_for(state="attached")
        assert page.evaluate("parseFloat(getComputedStyle(document.documentElement).fontSize)") == 36
        page.evaluate("document.querySelectorAll('details:not([hidden])').forEach(d => d.open = true)")
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path
        assert page.evaluate(OUTSIDE) == [], path


def test_a_reading_on_a_phone_keeps_its_words_whole(window: Callable[..., Any], bench: Any, traced: str) -> None:
    page = window(f"/job/{traced}#readings", width=360, height=740)
    served(page, traced, bench.state(traced) | {"readings": [SLIP]})
    what = page.locator("#readings .what")
    assert what.bounding_box()["height"] < 1.5 * what.evaluate("e => parseFloat(getComputedStyle(e).lineHeight)")


def test_a_refusal_is_one_sentence_and_a_way_on(window: Callable[..., Any], bench: Any, traced: str) -> None:
    text = "There is no bank-size card in the photo: lay one flat beside the part and take the photo again."
    state = bench.state(traced) | {
        "state": "refused", "features": [], "card": None, "dimensions": [], "readings": [], "next": None,
        "worst_u95_mm": None, "refusal": {"code": "no-reference", "text": text},
    }  # fmt: skip
    page = window(f"/job/{traced}")
    served(page, traced, state)
    page.locator("#refusal").wait_for()
    assert page.inner_text("#refusal-text") == text
    assert page.is_disabled("#tab-drawing")
    assert page.is_visible("#trace-again")
    page.check('[name="tool"][value="corners"]', force=True)
    assert page.locator(".corner").count() == 4  # a card that was not found is laid by hand


def test_a_bench_that_went_away_is_said(window: Callable[..., Any], traced: str) -> None:
    page = window(f"/job/{traced}#readings")
    page.locator(".feature").first.wait_for(state="attached")
    page.fill("#labels", "D2")
    page.locator("#value").wait_for()
    page.fill("#value", "5.38")
    page.route("**/readings", lambda route: route.abort())
    page.click("#add")
    page.locator("#value-wrong", has_text="does not answer").wait_for()
    assert page.input_value("#value") == "5.38"
