"""A German fixer's pages: no English on them, nothing that axe finds serious, nothing that runs out of its place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from playwright.sync_api import expect

from tests.browser.looks import Bench, leg_and_slot
from tests.browser.test_accessible import in_both_looks
from tests.english import english_in

TEXTS = """() => {
  const out = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const e = walk.currentNode.parentElement;
    if (e.closest("script, style, svg, .job-name, .name") || !e.checkVisibility()) continue;
    out.push(walk.currentNode.textContent);
  }
  for (const e of document.querySelectorAll("[aria-label], [title], [placeholder], [alt]"))
    for (const name of ["aria-label", "title", "placeholder", "alt"])
      if (e.checkVisibility() && !e.matches(".job-name")) out.push(e.getAttribute(name) ?? "");
  return out;
}"""
OUTSIDE = """() => [...document.querySelectorAll("button, .pill, label, input, select, p, li, h1, h2")]
  .filter((e) => e.checkVisibility() && !e.closest(".skip, .unseen, svg"))
  .filter((e) => e.getBoundingClientRect().right > (e.closest(".panels, .new, body").getBoundingClientRect().right + 1))
  .map((e) => e.id || e.textContent.trim())"""


def english_on(page: Any) -> list[str]:
    """Whatever is English on the page as it stands."""
    return [f"{found} in {text.strip()}" for text in page.evaluate(TEXTS) for found in english_in(text)]


def looked_at(page: Any) -> None:
    """Nothing of all that is there."""
    assert english_on(page) == []
    assert page.evaluate(OUTSIDE) == []
    assert in_both_looks(page) == []


def test_a_whole_job_in_german(window: Callable[..., Any], bench: Bench) -> None:
    job = bench.traced("Riegel")
    leg, slot = leg_and_slot(bench.state(job))
    page = window("/", locale="de-DE")
    expect(page.locator("#list li").first).to_be_visible()
    page.click("#start")  # nothing is filled in
    page.locator("#list .note, #list .name").evaluate_all("all => all.forEach(e => e.remove())")  # of other tests' jobs
    looked_at(page)
    page.goto(f"/job/{job}#outline")
    page.locator(".tag").first.wait_for(state="attached")
    page.evaluate("document.querySelectorAll('#panel-outline details:not([hidden])').forEach(d => d.open = true)")
    page.fill("#thickness", "dick")
    page.click("#trace-again")
    page.fill("#broken", "E99")
    page.click("#complete-form button[type=submit]")
    expect(page.locator("#complete-wrong")).not_to_be_empty()
    page.click("#say-form button[type=submit]")
    expect(page.locator("#say-wrong")).not_to_be_empty()
    looked_at(page)
    page.click("#tab-readings")
    entries = ((slot, "gap", "5,00"), (leg, "width", "60,23"), ("D2", "bore", "abc"))
    for taken, (labels, kind, value) in enumerate(entries):
        expect(page.locator("#readings li")).to_have_count(taken)
        page.fill("#labels", labels)
        page.locator(f"#kinds-list input[value='{kind}']").check(force=True)
        page.fill("#value", value)
        page.click("#add")
    expect(page.locator("#value-wrong")).not_to_be_empty()
    page.evaluate("document.querySelectorAll('#panel-readings details').forEach(d => d.open = true)")
    assert "60,23" in page.inner_text("#readings")
    looked_at(page)
    page.click("#tab-drawing")
    page.locator(".sheets img").first.wait_for()
    page.evaluate("document.querySelectorAll('#panel-drawing details:not([hidden])').forEach(d => d.open = true)")
    page.fill("#thin-limit", "10")
    page.click("#thin-form [type=submit]")
    page.fill("#hook-undercut", "0,8")
    page.fill("#hook-length", "15")
    page.click("#hook-form [type=submit]")
    page.click("#printer-form [type=submit]")
    page.fill("#said", "wackelt")
    page.click("#trial-take")
    for said in ("#thin-found", "#hook-found", "#printer-wrong", "#trial-wrong"):
        expect(page.locator(said)).not_to_be_empty()
    looked_at(page)
    page.fill("#said", "tight at E2")
    page.click("#trial-take")
    expect(page.locator("#trial-found")).not_to_be_empty()
    assert english_on(page) == []
