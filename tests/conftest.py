"""What several test modules need: the open data, a browser, settings of hypothesis."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent
OPEN_DATA = os.environ.get("RILLBOOK_OPEN_DATA", "../shared/open_data")
IN_CI = os.environ.get("CI", "").lower() in ("1", "true")

# Time limits of single examples fail on a busy machine without a fault in the code; CI draws the same examples every time.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if IN_CI else "here")


def absent(what: str) -> None:
    """Fail in CI, where nothing may be skipped in silence; skip elsewhere."""
    if IN_CI:
        pytest.fail(f"{what} In CI this must not be skipped.")
    pytest.skip(what)


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's folder."""
    return ROOT


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of the real survey sheets; the test is skipped where RILLBOOK_OPEN_DATA is the word none, or without the folder outside CI."""
    if OPEN_DATA == "none":
        pytest.skip("RILLBOOK_OPEN_DATA is none: no real survey sheets here.")
    folder = (ROOT / OPEN_DATA).resolve()
    if not folder.is_dir():
        absent(f"RILLBOOK_OPEN_DATA is {OPEN_DATA!r}, which is not a folder.")
    return folder


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the system's Chromium."""
    found = os.environ.get("RILLBOOK_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    if not found:
        absent("No Chromium is installed.")
    return str(found)


@contextmanager
def offline_pages(chromium: str, allowed: tuple[str, ...] = ("file:", "data:", "blob:")) -> Iterator[Callable[..., Any]]:
    """Open pages from disk with the network off; what any of them asked for or complained of fails at the end.

    The function that is yielded takes the path of a page, a width in pixels, a script that runs before the page's own, the medium
    (screen or print), and words of a browser context.
    """
    from playwright.sync_api import sync_playwright

    faults: list[str] = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])

        def open_page(path: Path, width: int = 1280, script: str = "", media: Any = None, **words: Any) -> Any:
            context = browser.new_context(offline=True, viewport={"width": width, "height": 900}, **words)
            if script:
                context.add_init_script(script)
            page = context.new_page()
            page.on("request", lambda request: None if request.url.startswith(allowed) else faults.append(request.url))
            page.on("console", lambda message: faults.append(message.text) if message.type in ("error", "warning") else None)
            page.on("pageerror", lambda error: faults.append(str(error)))
            if media:
                page.emulate_media(media=media)
            page.goto(path.as_uri())
            return page

        yield open_page
        browser.close()
    assert faults == []
