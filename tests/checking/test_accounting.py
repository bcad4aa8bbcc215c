"""Accounting: every source row and cell is somewhere, for any sheet, and the sums agree by hand."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from checked_sheets import CASES, TODAY, base, empty, run, write
from examples import examples
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.checking import accounting, check
from pipeline.checking.outcome import TableCheck
from pipeline.mapping import apply_map as mapping
from pipeline.mapping import own_sheets
from pipeline.reading import files as read
from pipeline.reading.rows import SourceTable
from pipeline.reading.values import as_text
from pipeline.settings import Settings, read_settings
from schemas.tables import LOADED, fields, key_of


@pytest.fixture(scope="module")
def book() -> Settings:
    return read_settings(CASES / "base")


@st.composite
def sheet(draw: st.DrawFn, table: str) -> SourceTable:
    declared = fields(table)
    needed = [name for name, field in declared.items() if field.required]
    others = draw(
        st.lists(
            st.sampled_from([name for name, field in declared.items() if not field.required and not field.derived]), unique=True, max_size=6
        )
    )
    columns = [*needed, *others, *(["a column of mine"] if draw(st.booleans()) else [])]
    rows = draw(st.lists(st.lists(GARBAGE, min_size=len(columns), max_size=len(columns)), max_size=5))
    rows = [row for row in rows if any(cell.strip() for cell in row)]
    misshapen = {place: (*rows[place], "x") for place in range(len(rows)) if draw(st.integers(0, 9)) == 0}
    lines = np.arange(2, 2 + len(rows))
    return SourceTable(f"{table}.csv", "", pd.DataFrame(rows, columns=columns, dtype="str"), lines, "0", misshapen, 0)


@given(st.tuples(*(sheet(table) for table in LOADED)), st.booleans())
@settings(max_examples=examples(40, 4), suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
def test_accounting_closes(tables: tuple[SourceTable, ...], with_base: bool) -> None:
    book = read_settings(CASES / "base")
    every = [*(read.read_files(base()) if with_base else []), *tables]
    sources = [source for one in every for source in mapping.apply_map(own_sheets.own_map([one])[0], [one])]
    checked = check.check(sources, book, empty(), TODAY)
    account = accounting.account(checked)
    assert sum(account.rows.values()) == sum(len(one.cells) for one in every)
    assert sum(account.cells.values()) == sum(one.cells.size for one in every)
    assert sum(len(fates) for fates in account.row_fates) == sum(account.rows.values())
    for table, one in checked.tables.items():
        assert len(one.accepted) + len(one.held_rows) == len(set(one.merged.row_of))
        assert one.accepted[key_of(table)].is_unique
        _assert_no_value_changed(table, one)
    in_cells = checked.held[(checked.held["field"] != "") & (checked.held["column"] != "")]
    for row in in_cells.itertuples():
        assert row.text == sources[row.source].source.cells[row.column].iloc[row.row]


def _assert_no_value_changed(table: str, one: TableCheck) -> None:
    """Every stored value of a plain field is the value of a source cell, or nothing."""
    for name, field in fields(table).items():
        if field.derived or name in ("taxon", "verbatim_taxon", "target_taxa", "latitude", "longitude", "coordinate_uncertainty_m"):
            continue
        stored = Counter(as_text(one.accepted[name], field.kind).dropna())
        assert not stored - Counter(one.candidates.text[name].dropna())


GARBAGE = st.one_of(
    st.sampled_from(["", " ", "V1", "V2", "S1", "F1", "GPOR", "XXXX", "adult", "larva", "1", "0", "12.5", "-99", "1e400", "inf", "NaN",
                     "55",
                     "2023-06-10",
                     "06/07/2023", "2052-01-01", "20:00", "25:61", "yes", "rock_in_flow", "visual_encounter", "headwater",
                     "36.21", "-81.91", "36.21 N, 81.91 W", "GPOR|ETEN"]),
    st.text(st.characters(exclude_categories=("Cs",)), max_size=8),
)  # fmt: skip


def test_every_row_and_cell_of_a_small_load_by_hand(book: Settings, tmp_path: Path) -> None:
    """Two visits: one sound, one whose water cannot be read; a column that no field takes; of eight more cells one is empty."""
    paths = write(
        tmp_path,
        sites="site_id,habitat\nS1,headwater\n",
        visits="visit_id,site_id,visit_date,protocol,water_temp_c,my notes\n"
        "V1,S1,2023-06-10,visual_encounter,12.5,wet\nV2,S1,2023-06-11,visual_encounter,warm,\n",
    )
    account = accounting.account(run(paths, book))
    assert account.rows == {"accepted": 2, "accepted_with_held": 1, "held": 0, "repeat": 0, "no_find": 0}
    # 2 cells of the site; of 12 of the visits 2 are of no field, 1 is held, 9 are stored.
    cells = {name: n for name, n in account.cells.items() if n}
    assert cells == {"stored": 11, "unmapped": 2, "held": 1}
    assert account.tables["visits"] == {"accepted": 2, "held": 0, "same": 0}
    assert account.reasons.to_dict("records") == [{"rule": "unreadable", "what": "value", "n": 1}]
    assert [fates.tolist() for fates in account.row_fates] == [["accepted"], ["accepted", "accepted_with_held"]]


def test_rows_of_the_book_are_repeats_and_a_row_that_hangs_on_nothing_is_held(book: Settings, tmp_path: Path) -> None:
    paths = write(
        tmp_path,
        sites="site_id,habitat\nS1,headwater\n",
        visits="visit_id,site_id,visit_date,protocol\nV1,S1,2023-06-10,visual_encounter\nV2,S9,2023-06-10,visual_encounter\n",
    )
    account = accounting.account(run(paths, book), {"sites": {"S1"}})
    assert account.rows == {"accepted": 1, "accepted_with_held": 0, "held": 1, "repeat": 1, "no_find": 0}
    assert account.tables["sites"] == {"accepted": 0, "held": 0, "same": 1} and account.tables["visits"]["held"] == 1
    assert account.cells["same"] == 2


def test_a_row_with_a_cell_too_many_is_held_whole(book: Settings, tmp_path: Path) -> None:
    account = accounting.account(run(write(tmp_path, sites="site_id,habitat\nS1,headwater\nS2,headwater,x\n"), book))
    assert (account.rows["accepted"], account.rows["held"], account.cells["held"]) == (1, 1, 2)
