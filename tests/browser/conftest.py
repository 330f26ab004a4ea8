"""A bench of its own for these tests, and a headless Chromium that looks at it."""

from __future__ import annotations

import importlib.util
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.browser.looks import Bench
from tests.browser.running import ARGS, address, running

PATIENCE_MS = 30_000
"""A page that has not done by then what it does at once on an idle machine never will."""


class Unopened(pytest.Module):
    """A module of tests that can't even be imported here."""

    def collect(self) -> Any:
        """Nothing: it is skipped."""
        pytest.skip("playwright is not installed: pip install 'jawline[test]'", allow_module_level=True)


def pytest_pycollect_makemodule(module_path: Path, parent: Any) -> Any:
    """Without playwright the modules are skipped as they are, unless a browser has to be there."""
    if os.environ.get("JAWLINE_BROWSER") == "required" or importlib.util.find_spec("playwright"):
        return None
    return Unopened.from_parent(parent, path=module_path)


def absent(why: str) -> Any:
    """Skip, or fail where a browser has to be there."""
    if os.environ.get("JAWLINE_BROWSER") == "required":
        pytest.fail(f"JAWLINE_BROWSER=required, but {why}")
    pytest.skip(why)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser, shared by all tests."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        absent("there is no Chromium here: on Debian, apt-get install chromium")
    try:
        from playwright.sync_api import expect, sync_playwright
    except ImportError:
        absent("playwright is not installed: pip install 'jawline[test]'")
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def bench(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """A running bench with an empty folder."""
    folder = tmp_path_factory.mktemp("evening")
    with running(folder) as said:
        yield Bench(address(said), folder)


@pytest.fixture(scope="session")
def open_to_owners(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Another one, where owners may send photos."""
    folder = tmp_path_factory.mktemp("inbox")
    with running(folder, "--intake") as said:
        yield Bench(address(said), folder, address(said, "/intake"))


@pytest.fixture
def window(chromium: Any, bench: Bench) -> Iterator[Callable[..., Any]]:
    """Opens windows of the browser; whatever a script throws or the content policy refuses fails the test."""
    contexts, complaints = [], []

    def open_window(path: str = "/", *, width: int = 1024, height: int = 768, **options: Any) -> Any:
        context = chromium.new_context(viewport={"width": width, "height": height}, base_url=bench.url, **options)
        context.set_default_timeout(PATIENCE_MS)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda e: complaints.append(str(e)))
        page.on("console", lambda m: complaints.append(m.text) if "Content Security Policy" in m.text else None)
        page.goto(path)
        return page

    yield open_window
    for context in contexts:
        context.close()
    assert complaints == []


@pytest.fixture(scope="session")
def traced(bench: Bench) -> str:
    """The sample photo, traced once; tests that change a job take one of their own."""
    return bench.traced("vent latch")
