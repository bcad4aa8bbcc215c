"""Blocks cut into columns at once against the row by row reading: the same lines, cells, texts and moments, however odd the file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from pipeline.errors import RillbookError
from pipeline.loggers.blocks import blocks_of
from pipeline.loggers.columns import Spans
from pipeline.loggers.text import rows_of

PLAIN = "Date Time,Temp °C\n" + "".join(f"2020-05-06 {hour:02d}:00,{hour}.5\n" for hour in range(24))
FILES = {
    "plain": PLAIN,
    "no_last_end": PLAIN.rstrip("\n"),
    "dos": PLAIN.replace("\n", "\r\n"),
    "mixed_ends": PLAIN.replace("\n", "\r\n", 9),
    "old_ends": PLAIN.replace("\n", "\r"),
    "one_old_end": PLAIN.replace("10.5\n", "10.5\r"),
    "quoted": PLAIN.replace("10.5", '"10.5"'),
    "two_lines_in_a_cell": PLAIN.replace("10.5", '"10\n.5"'),
    "blank_rows": PLAIN.replace("10.5\n", "10.5\n\n\n"),
    "ragged": PLAIN.replace("10.5\n", "10.5,,\n").replace("2020-05-06 11:00,", ""),
    "spaces": PLAIN.replace(",", " , "),
    "spaces_before": PLAIN.replace(",", " ,"),
    "spaces_after": PLAIN.replace(",", ", "),
    "space_at_the_end": PLAIN.replace("10.5\n", "10.5 \n"),
    "space_in_front": " " + PLAIN,
    "no_break_space": PLAIN.replace("10.5", "\u00a010.5\u2003"),
    "separators": PLAIN.replace("10.5", "\x1c10.5\x85"),
    "tab": PLAIN.replace("10.5", "10.5\t"),
    "signs_that_json_escapes": PLAIN.replace("10.5", "10\\5\x01\x7f"),
    "beyond_ascii": PLAIN.replace("10.5", "10.5 ° Bäche 渓流"),
    "one_column": PLAIN.replace(",", ";"),
}


@pytest.mark.parametrize("chunk", [1, 7, 20_000])
@pytest.mark.parametrize("name", FILES)
def test_blocks_hold_what_row_by_row_reading_gives(name: str, chunk: int, tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(FILES[name].encode())
    rows = list(rows_of(path, "utf-8", ","))
    blocks = list(blocks_of(path, "utf-8", ",", chunk=chunk))
    assert [len(block.lines) for block in blocks[:-1]] == [chunk] * (len(blocks) - 1)
    assert [int(line) for block in blocks for line in block.lines] == [line for line, _ in rows]
    assert [block.row(number) for block in blocks for number in range(len(block.lines))] == [cells for _, cells in rows]
    assert [text for block in blocks for text in block.as_json().split("\n")] == [
        json.dumps(cells, ensure_ascii=False) for _, cells in rows
    ]
    for place in (0, 1, 2, None):
        expected = [cells[place] if place is not None and place < len(cells) else "" for _, cells in rows]
        found = [(block.column(place), block.texts_in(place), len(block.lines)) for block in blocks]
        assert [column.text(row) for column, _, n in found for row in range(n)] == expected
        assert [texts.text[code] for _, texts, _ in found for code in texts.code] == expected


def test_a_plain_file_is_cut_at_once(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(PLAIN, encoding="utf-8")
    for block in blocks_of(path, "utf-8", ",", chunk=7):
        assert block.columns is not None and all(isinstance(column, Spans) for column in block.columns)


def test_a_quoted_heading_slows_only_itself(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(PLAIN.replace("Date Time", '"Date Time, GMT-05:00"'), encoding="utf-8")
    heading, *others = blocks_of(path, "utf-8", ",", 1, 7)
    assert heading.row(0) == ["Date Time, GMT-05:00", "Temp °C"] and [len(block.lines) for block in (heading, *others)] == [1, 6, 7, 7, 4]
    assert all(isinstance(column, Spans) for block in others for column in block.columns or [None])


def test_a_stray_quote_mark_is_told_with_the_line_of_its_row(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text(PLAIN.replace("10.5", '"10.5" x'), encoding="utf-8")
    with pytest.raises(RillbookError) as row_by_row:
        list(rows_of(path, "utf-8", ","))
    with pytest.raises(RillbookError) as at_once:
        list(blocks_of(path, "utf-8", ",", chunk=5))
    assert str(at_once.value) == str(row_by_row.value) and "line 12" in str(at_once.value)
