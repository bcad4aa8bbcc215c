"""Two commands at once: a large check holds nobody up, and what was checked is checked again where the book has changed meanwhile."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from small_sheets import CASES, FINDS, SITES, TODAY, ids, load, sheets

from pipeline.checking import check
from pipeline.commands import run
from pipeline.intake.report import WouldReplaceError


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    load(tmp_path / "b")
    return tmp_path / "b"


def test_others_read_and_write_while_a_load_is_checked(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The other load brings one of the very finds, differently: the first sees it at its second look, and stops."""
    mine = sheets(folder, mine=FINDS.replace("F1", "F7").replace("F2", "F8"))
    other = sheets(folder, other=FINDS.replace("F1", "F7").replace("F2", "F9").replace("12.6", "13.6"))
    checks, asked = [], check.check

    def meanwhile(*words: Any) -> Any:
        checks.append(len(words[2]["finds"]))
        if len(checks) == 1:
            assert run.status(folder)["tables"]["finds"] == 2
            assert run.load_files(folder, other, today=TODAY).load_id == 2
        return asked(*words)

    monkeypatch.setattr(check, "check", meanwhile)
    with pytest.raises(WouldReplaceError) as refused:
        run.load_files(folder, mine, today=TODAY)
    assert refused.value.changes.changed == ["find F7: water_temp_c 13.6 → 12.6"]
    assert checks == [2, 2, 4], "the first look, that of the other load, and the second look"
    assert ids(folder)["finds"] == ["F1", "F2", "F7", "F9"]


def test_a_correction_sees_the_book_without_the_load_that_it_corrects_and_holds_nothing(folder: Path) -> None:
    run.load_files(folder, sheets(folder, more=SITES.replace("S1", "S9")), today=TODAY)
    report = run.load_files(folder, sheets(folder, again=SITES.replace("S1", "S8")), corrects=2, today=TODAY)
    assert report.load_id == 3 and report.changes is not None and report.changes.vanished == ["site S9"]
    assert ids(folder)["sites"] == ["S1", "S8"]
