"""The one browser of a worker, and pages opened in it from disk; no part of conftest.py, of which pytest makes more than one module."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

_running: list[Any] = []


def started(chromium: str) -> Any:
    """The one browser of a worker: starting it costs more than most tests."""
    if not _running:
        from playwright.sync_api import sync_playwright

        driver = sync_playwright().start()
        _running.extend([driver.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"]), driver])
    return _running[0]


def stop() -> None:
    """Stop the browser if a test started it."""
    if _running:
        _running[0].close()
        _running[1].stop()


@contextmanager
def offline_pages(chromium: str, allowed: tuple[str, ...] = ("file:", "data:", "blob:")) -> Iterator[Callable[..., Any]]:
    """Open pages from disk with the network off; what any of them asked for or complained of fails at the end.

    The function that is yielded takes the path of a page, a width in pixels, a script that runs before the page's own, the medium
    (screen or print), and words of a browser context.
    """
    faults: list[str] = []
    contexts: list[Any] = []

    def open_page(path: Path, width: int = 1280, script: str = "", media: Any = None, **words: Any) -> Any:
        context = started(chromium).new_context(offline=True, viewport={"width": width, "height": 900}, **words)
        contexts.append(context)
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

    try:
        yield open_page
    finally:
        for context in contexts:
            context.close()
    assert faults == []
