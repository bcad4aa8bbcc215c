"""The guide holds the keeper's words and the derived numbers; HTML in notes is inert, an empty section is shown as empty."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from tanks.tank_book import targets

from pipeline.errors import RillbookError
from pipeline.tanks.pages.guide import SECTIONS, as_html, notes_of, number_tables, write_guide

ABOUT = {"invented": True, "source": "Invented", "author": "the keeper"}


@pytest.mark.parametrize(
    "words",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[x](javascript:alert(1))",
        "[x](data:text/html,AA)",
        "<b onclick=x>",
    ],
)
def test_html_and_active_links_are_inert(words: str) -> None:
    made = as_html(words)
    for active in ("<script", "<img", 'href="javascript', 'href="data', "<b onclick"):
        assert active not in made


# Source: CommonMark 0.31, sections on emphasis and on lists.
def test_markdown_is_read() -> None:
    assert as_html("**cold** water") == "<p><strong>cold</strong> water</p>\n"
    assert as_html("- a\n- b") == "<ul>\n<li>a</li>\n<li>b</li>\n</ul>\n"


def test_notes_of_the_taxon_go_before_those_of_the_book(tmp_path: Path) -> None:
    (tmp_path / "DMON").mkdir()
    (tmp_path / "water.md").write_text("book", encoding="utf-8")
    (tmp_path / "larvae.md").write_text("book", encoding="utf-8")
    (tmp_path / "DMON" / "water.md").write_text("taxon", encoding="utf-8")
    (tmp_path / "lids.md").write_text("  \n", encoding="utf-8")
    assert notes_of(tmp_path, "DMON") == {"water": "taxon", "larvae": "book"}


def test_a_note_that_is_no_text_is_named(tmp_path: Path) -> None:
    (tmp_path / "water.md").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(RillbookError, match=r"water\.md.*UTF-8"):
        notes_of(tmp_path, "DMON")


def rows_of_targets() -> Any:
    rows = targets(set_point_low=11.0, set_point_high=12.0)
    rows[["n_readings", "n_visits", "n_sites"]] = 20, 10, 4
    return rows.assign(grade="C")


def test_an_empty_section_is_empty_and_each_has_its_caution(tmp_path: Path) -> None:
    path = write_guide(tmp_path / "g.html", "DMON", "Desmognathus monticola", {"water": "Ours."}, rows_of_targets(), ABOUT)
    page = path.read_text(encoding="utf-8")
    assert page.count("Nothing is written here yet") == len(SECTIONS) - 1 and "<p>Ours.</p>" in page
    for _, title, caution in SECTIONS:
        assert f"<h2>{title}</h2>" in page and caution in page
    assert "Not veterinary advice" in page and "no reason to collect" in page


def test_the_numbers_are_those_of_the_targets(tmp_path: Path) -> None:
    rows = rows_of_targets()
    (table,) = number_tables(rows)
    assert len(table["rows"]) == 12 and table["rows"][6]["month"] == "July"
    assert table["rows"][6]["hold"].startswith("11 to 12") and "20 readings, 10 visits, 3 to 5 sites" in table["rows"][6]["from"]
    rows["status"] = "refused"
    assert number_tables(rows) == []
