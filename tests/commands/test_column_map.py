"""From a strange wide sheet to a loaded book: what a person has to do, and what is refused before it is done. The sheet is invented."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import map_shares
import pytest
from strange_sheets import SETTINGS, WIDE

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.errors import RillbookError


@pytest.fixture
def strange(tmp_path: Path) -> Path:
    run.init(tmp_path / "book", SETTINGS)
    path = tmp_path / "strange.csv"
    path.write_text(WIDE, encoding="utf-8")
    return path


def test_from_a_strange_sheet_to_a_loaded_book(strange: Path, tmp_path: Path) -> None:
    book, out = tmp_path / "book", tmp_path / "strange.toml"
    made = run.propose([strange], book, out)
    assert made.questions == 1 and made.guesses > 5 and not made.notes
    with pytest.raises(RillbookError, match="still 'ask'"):
        run.load_files(book, [strange], out)
    text = out.read_text(encoding="utf-8").replace('"ask"', '"visual_encounter"')
    out.write_text(text, encoding="utf-8")
    with pytest.raises(RillbookError, match="not confirmed"):
        run.check_files(book, [strange], out)
    out.write_text(map_shares.confirmed(text), encoding="utf-8")
    report = run.load_files(book, [strange], out, today=date(2025, 1, 1))
    assert report.held.empty
    with open_book(book) as connection:
        sites, visits, finds = (current_rows(connection, table) for table in ("sites", "visits", "finds"))
        assert connection.execute("select count(*) from absences").fetchone() == (0,)
    assert (len(sites), len(visits), len(finds)) == (3, 6, 7)
    # 52.1 °F by hand
    assert visits["water_temp_c"].min() == pytest.approx((52.1 - 32) * 5 / 9)
    assert int(finds["count"].sum()) == 9


def test_it_writes_over_nothing(strange: Path, tmp_path: Path) -> None:
    out = tmp_path / "mine.toml"
    out.write_text("mine", encoding="utf-8")
    with pytest.raises(RillbookError, match="not written over"):
        run.propose([strange], tmp_path / "book", out)
    assert out.read_text(encoding="utf-8") == "mine"


def test_a_sheet_without_rows_or_dates_is_told(strange: Path, tmp_path: Path) -> None:
    strange.write_text("Site,Date\n", encoding="utf-8")
    with pytest.raises(RillbookError, match="no rows"):
        run.propose([strange], tmp_path / "book")
    strange.write_text("Site,Kind\nA,x\n", encoding="utf-8")
    assert any("only sites are proposed" in note for note in run.propose([strange], tmp_path / "book").notes)
    assert any("no book here" in note for note in run.propose([strange], tmp_path).notes)
