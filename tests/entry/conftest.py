"""What the tests of the form share: one loaded book, copied for each, and its page in the browser."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pandas as pd
import pytest
from form_pages import HOSTILE, SETTINGS, TODAY, Opened
from one_browser import offline_pages

from pipeline.commands import run


@pytest.fixture(scope="session")
def form_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with two sites, one of a hostile name; copy it."""
    here = tmp_path_factory.mktemp("form") / "book"
    run.init(here, SETTINGS)
    sites = here / "sites.csv"
    frame = pd.DataFrame(
        {
            "site_id": ["RILL-01", "RILL-02"],
            "site_name": ["", HOSTILE],
            "habitat": "stream",
            "latitude": 36.1,
            "longitude": -82.1,
            "datum": "WGS84",
        }
    )
    frame.to_csv(sites, index=False)
    assert run.load_files(here, [sites], today=TODAY).exit_code == 0
    return here


@pytest.fixture
def folder(form_book: Path, tmp_path: Path) -> Path:
    """A copy of that book."""
    return Path(shutil.copytree(form_book, tmp_path / "book"))


@pytest.fixture
def opened(chromium: str) -> Iterator[Opened]:
    with offline_pages(chromium) as open_page:
        yield open_page
