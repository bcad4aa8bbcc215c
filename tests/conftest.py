"""What several test modules need: the open data, a browser, books that are built once for all workers, settings of hypothesis."""

from __future__ import annotations

import dataclasses
import os
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from built_once import built_once
from hypothesis import settings
from one_browser import offline_pages as offline_pages
from one_browser import started, stop

if TYPE_CHECKING:
    from real_data_tables import Loaded

    from pipeline.commands.run import Demo

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
    """Path of the system's Chromium; the one without windows, where there is one, opens a page in half the time."""
    names = ("chromium-headless-shell", "chromium", "chromium-browser")
    found = os.environ.get("RILLBOOK_CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    if not found:
        absent("No Chromium is installed.")
    return str(found)


@pytest.fixture(scope="session")
def browser(chromium: str) -> Any:
    """A headless Chromium; every test makes contexts of its own in it."""
    return started(chromium)


def pytest_sessionfinish() -> None:
    """Stop the browser if a test started it."""
    stop()


@pytest.fixture(scope="session")
def demo_run(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Demo]:
    """Book of the invented study after `rillbook demo`, and what that reported. Copy the folder before you change anything in it."""
    from pipeline.commands import run

    made, result = built_once(tmp_path_factory, "demo", run.run_demo)
    folder = tmp_path_factory.mktemp("demo") / "book"
    shutil.copytree(made, folder)
    return folder, dataclasses.replace(result, files=[folder / path.relative_to(made) for path in result.files])


@pytest.fixture
def demo_copy(demo_run: tuple[Path, Demo], tmp_path: Path) -> Path:
    """A copy of that book, to be changed."""
    return Path(shutil.copytree(demo_run[0], tmp_path / "book"))


@pytest.fixture(scope="session")
def real_sheet(open_data: Path, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Loaded]:
    """A real survey sheet, loaded through its map, with its targets; the book is this worker's own."""
    from real_data_tables import load

    done: dict[str, Loaded] = {}

    def get(name: str) -> Loaded:
        if name not in done:
            made, loaded = built_once(tmp_path_factory, name, lambda folder: load(name, open_data, folder))
            folder = tmp_path_factory.mktemp(name) / "book"
            done[name] = dataclasses.replace(loaded, folder=Path(shutil.copytree(made, folder)))
        return done[name]

    return get


# Test modules that take longest, the longest first: a worker that begins with one of them does not end last and alone.
LONGEST = (
    "test_wheel", "summaries/test_in_spark", "test_notebooks", "commands/test_publish", "checking/test_absences", "intake/test_enter",
    "test_slips", "test_cli", "test_pages", "entry/test_form_slips", "test_schemas", "maps/test_page", "test_real_data",
    "book/test_held_items", "commands/test_write_reports", "entry/test_form", "test_demo",
)  # fmt: skip


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One worker more than processors: in tests of pages a worker waits for its browser, in tests of books for the disk."""
    return len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else (os.cpu_count() or 1) + 1


def pytest_configure(config: pytest.Config) -> None:
    """Keep pytest-xdist from sorting modules by their number of tests: the order below is by their time."""
    config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest modules first."""
    rank = {name: place for place, name in enumerate(LONGEST)}
    items.sort(key=lambda item: rank.get(item.path.relative_to(ROOT / "tests").with_suffix("").as_posix(), len(LONGEST)))
