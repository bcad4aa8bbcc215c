"""The original text has a way out: every cell of every load, with its file, line and load."""

from __future__ import annotations

import csv
from pathlib import Path

from small_sheets import FINDS, load, sheets

from pipeline.commands import run


def test_every_cell_comes_out_as_it_was_written(folder: Path) -> None:
    load(folder)
    written = "find_id,visit_id,taxon,life_stage,count,microhabitat,remarks\n"
    written += 'F7,V1,GPOR,adult,01,rock_in_flow,"=1+1, é\nend"\n\nF8,V9,?,x,,,,extra\n'
    load(folder, sheets(folder, more=written))
    run.undo(folder, 2)
    files, told = run.export_sheets(folder)
    assert [path.name for path in files] == ["load_1_1_sites.csv", "load_1_2_visits.csv", "load_1_3_finds.csv", "load_2_1_more.csv"]
    assert [one["rows"] for one in told] == [1, 2, 2, 2]
    read = [list(csv.reader(path.read_text(encoding="utf-8-sig").splitlines(keepends=True))) for path in files]
    again = [row[5:] for row in read[2]]
    assert again == [row.split(",") for row in FINDS.splitlines()]
    more = read[3]
    assert more[0] == ["load", "file", "sheet", "line", "fate", *written.splitlines()[0].split(",")]
    assert [row[:4] for row in more[1:]] == [["2", "more.csv", "", "2"], ["2", "more.csv", "", "5"]]
    assert more[1][5:] == ["F7", "V1", "GPOR", "adult", "01", "rock_in_flow", "=1+1, é\nend"]
    assert more[2][5:] == ["F8", "V9", "?", "x", "", "", "", "extra"]
    assert files[0].stat().st_mode & 0o077 == 0, "exact places: for their owner alone"
