"""The list of held items: one answer for what one answer mends, and no answer lost when the list is written anew."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest

from pipeline.commands import run
from pipeline.errors import RillbookError

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)
SITES = "site_id,habitat\nS1,headwater\n"
VISITS = (
    "visit_id,site_id,visit_date,protocol,search_minutes\nV1,S1,2023-06-10,visual_encounter,60\nV2,S-1,2023-06-11,visual_encounter,60\n"
)
FINDS = "find_id,visit_id,taxon,life_stage,count,microhabitat\n" + "".join(
    f"F{number},{'V2' if number > 3 else 'V1'},sprung,adult,1,rock_in_flow\n" for number in range(1, 6)
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    load(tmp_path / "b", sites=SITES, visits=VISITS, finds=FINDS)
    return tmp_path / "b"


def load(folder: Path, **texts: str) -> None:
    paths = [folder.parent / f"{name}.csv" for name in texts]
    for path, text in zip(paths, texts.values(), strict=True):
        path.write_text(text, encoding="utf-8")
    run.load_files(folder, paths, today=TODAY)


def read(path: Path) -> pd.DataFrame:
    return pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig")


def test_what_one_answer_mends_is_offered_once(folder: Path) -> None:
    groups = run.held_groups(folder)
    assert list(zip(groups["field"], groups["text"], groups["alike"], strict=True)) == [("taxon", "sprung", 5), ("site_id", "S-1", 1)]
    assert groups["items"].iloc[0].count("held-") == 5


def test_one_answer_for_all_mends_them_and_no_other(folder: Path) -> None:
    path = folder.parent / "list.csv"
    run.write_held(folder, path)
    frame = read(path)
    assert set(frame.loc[frame["text"] == "sprung", "alike"]) == {"5"}
    first = frame.index[frame["text"] == "sprung"][0]
    frame.loc[first, ["corrected", "by", "for_all"]] = ["GPOR", "AB", "yes"]
    frame.loc[frame["text"] == "S-1", ["corrected", "by"]] = ["S1", "AB"]
    frame.to_csv(path, index=False)
    report = run.load_files(folder, [path], today=TODAY)
    assert isinstance(report, run.Report) and report.account is not None
    assert run.held_items(folder).empty and run.status(folder)["tables"]["finds"] == 5
    assert sum(report.account.rows.values()) == len(frame)


def test_an_answer_of_its_own_outranks_the_one_for_all(folder: Path) -> None:
    path = folder.parent / "list.csv"
    run.write_held(folder, path)
    frame = read(path)
    mine = frame.index[frame["text"] == "sprung"]
    frame.loc[mine[0], ["corrected", "by", "for_all"]] = ["GPOR", "AB", "yes"]
    frame.loc[mine[1], ["dismiss_reason", "by"]] = ["no idea", "AB"]
    frame.loc[frame["text"] == "S-1", ["corrected", "by"]] = ["S1", "AB"]
    frame.to_csv(path, index=False)
    run.load_files(folder, [path], today=TODAY)
    assert run.held_items(folder).empty and run.status(folder)["tables"]["finds"] == 4


def test_a_word_under_for_all_that_is_no_answer_stops_the_list(folder: Path) -> None:
    path = folder.parent / "list.csv"
    run.write_held(folder, path)
    read(path).assign(for_all="perhaps").to_csv(path, index=False)
    with pytest.raises(RillbookError, match=r"line 2: 'perhaps' under for_all is neither yes nor no"):
        run.load_files(folder, [path], today=TODAY)


def test_writing_the_list_again_keeps_answers_and_adds_what_is_new(folder: Path) -> None:
    path = folder.parent / "list.csv"
    assert run.write_held(folder, path) == (8, 0)
    frame = read(path)
    frame.loc[frame["text"] == "S-1", ["corrected", "by"]] = ["S1", "AB"]
    frame.loc[1, ["dismiss_reason", "by"]] = ["=what", "CD"]
    frame.to_csv(path, index=False, sep=";")
    load(folder, more="find_id,visit_id,taxon,life_stage,count,microhabitat\nF9,V1,newt,adult,1,rock_in_flow\n")
    assert run.write_held(folder, path) == (9, 2)
    again = read(path)
    assert list(again["item"]) == [*frame["item"], "held-9"]
    assert again.loc[again["text"] == "S-1", "corrected"].item() == "S1"
    assert again.loc[1, "dismiss_reason"] == "'=what" and again.loc[1, "by"] == "CD"
    run.load_files(folder, [path], today=TODAY)
    run.write_held(folder, path)
    assert set(read(path)["text"]) >= {"newt", "sprung"}


def test_another_file_is_never_written_over(folder: Path) -> None:
    path = folder.parent / "notes.csv"
    path.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(RillbookError, match=r"notes\.csv: this file exists already and is no list of held items"):
        run.write_held(folder, path)
    assert path.read_text(encoding="utf-8") == "a,b\n1,2\n"
