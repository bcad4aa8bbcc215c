"""The pages at the tank open with the network off, fit a phone, and say the verdict first and by word and shape."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from conftest import offline_pages
from tanks.tank_book import audited, steady, targets

from pipeline.tanks.due import due_at
from pipeline.tanks.pages.beside import write_beside_page
from pipeline.tanks.pages.guide import write_guide
from pipeline.tanks.pages.page import write_audit_page

ABOUT: dict[str, Any] = {"invented": True, "source": "Invented", "notes": [], "author": "the keeper"}
NAME = "Desmognathus monticola"


def warm() -> Any:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-05 12:00":] += 5.0
    tests = [{"tested_on": "2025-07-05", "ph": 7.0, "water_temp_c": 13.0, "total_ammonia_mg_l_n": 0.2, "chlorine_mg_l": 0.1}]
    events = [{"event_date": "2025-07-02", "event": "fed", "what": "<b>worms</b>", "amount": "4"}]
    return audited(temps.drop(temps["2025-07-03 02:00":"2025-07-03 09:00"].index), tests=tests, events=events)


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder, found = tmp_path_factory.mktemp("pages"), warm()
    due = due_at(found.events, found.tests, {"water_test": 1}, None, pd.Timestamp("2025-07-07").date())
    rows = targets(set_point_low=11.0, set_point_high=12.0)
    rows[["n_readings", "n_visits", "n_sites"]] = 20, 10, 4
    notes = {"water": "Ours, with averyveryveryverylongwordthatdoesnotbreakanywhere" * 3}
    return {
        "audit": write_audit_page(folder / "audit.html", found, NAME, ABOUT, due),
        "beside": write_beside_page(folder / "beside.html", found, NAME, ABOUT, due),
        "guide": write_guide(folder / "guide.html", "DMON", NAME, notes, rows.assign(grade="C"), ABOUT),
    }


def test_the_verdict_comes_first_and_text_is_escaped(pages: dict[str, Path]) -> None:
    text = pages["audit"].read_text(encoding="utf-8")
    assert text.index("▲") < text.index("What to do now") < text.index("Call a veterinarian") < text.index("<svg")
    assert "&lt;b&gt;worms" in text and "<b>worms" not in text
    assert "act on Chlorine" in text and "1 day overdue" in text
    assert "no ice on the animal" in text


def test_the_page_beside_the_tank_says_it_in_words(pages: dict[str, Path]) -> None:
    text = pages["beside"].read_text(encoding="utf-8")
    assert "▲" in text and "warm" in text and "11 to 14" in text and "30 minutes old" in text and "Test the water" in text


@pytest.mark.browser
@pytest.mark.parametrize("width", [320, 1100])
def test_they_open_without_a_network_and_fit(pages: dict[str, Path], chromium: str, width: int) -> None:
    with offline_pages(chromium) as open_page:
        for name, path in pages.items():
            page = open_page(path, width)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, name


@pytest.mark.browser
def test_the_band_is_the_largest_type(pages: dict[str, Path], chromium: str) -> None:
    script = "[...document.querySelectorAll('body *')].filter(e => e.firstChild && e.firstChild.nodeType === 3 && e.textContent.trim()).map(e => [parseFloat(getComputedStyle(e).fontSize), e.className])"  # noqa: E501
    with offline_pages(chromium) as open_page:
        for name in ("audit", "beside"):
            sizes = open_page(pages[name], 1100).evaluate(script)
            assert max(sizes)[1] == "band", name


def test_a_page_without_a_logger_says_unknown(tmp_path: Path) -> None:
    found = audited(None, medium="air")
    text = write_audit_page(tmp_path / "a.html", found, NAME, ABOUT, []).read_text(encoding="utf-8")
    assert "unknown" in text and "inside," not in text
    beside = write_beside_page(tmp_path / "b.html", found, NAME, ABOUT, []).read_text(encoding="utf-8")
    assert "no band" in beside and "No reading." in beside


def test_a_month_without_evidence_prints_no_band(tmp_path: Path) -> None:
    nothing = dict.fromkeys(("band_low", "set_point", "band_high", "act_line"), np.nan)
    found = audited(steady("2025-07-01", "2025-07-08"), targets({"status": "refused", **nothing}))
    text = write_audit_page(tmp_path / "a.html", found, NAME, ABOUT, []).read_text(encoding="utf-8")
    assert "No band now" in text and "nan" not in text.lower().replace("financ", "")
