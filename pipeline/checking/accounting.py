"""Accounting by source row and source cell: everything that came in is somewhere, and the sums agree."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.checking.merging import rows_stored
from pipeline.checking.outcome import LEFT_OUT, ROW_FATES, Account, Checked, TableCheck
from schemas.tables import LOADED, key_of

CELL_FATES = ("open", "missing", "skipped", "not_counted", "no_find", "unmapped", "same", "stored", "held")
OPEN, MISSING, SKIPPED, NOT_COUNTED, NO_FIND, UNMAPPED, SAME, STORED, HELD = range(len(CELL_FATES))


def account(checked: Checked, same: dict[str, set[str]] | None = None) -> Account:
    """Count what became of every source row and cell.

    Parameters
    ----------
    checked : Checked
        Outcome of a check.
    same : dict of str to set of str, optional
        Keys of the rows that the book holds already, by table.

    Returns
    -------
    Account

    Raises
    ------
    AssertionError
        A row or a cell has no fate, or the sums do not agree.
    """
    same = same or {}
    cells = [_first_fates(source.missing.shape, checked, number) for number, source in enumerate(checked.sources)]
    row_marks = [np.zeros((source.missing.shape[0], 4), dtype=bool) for source in checked.sources]
    for table, result in checked.tables.items():
        _mark_table(table, result, checked, same.get(table, set()), cells, row_marks)
    for number, source in enumerate(checked.sources):
        cells[number][cells[number] == OPEN] = MISSING
        cells[number][:, [source.source.cells.columns.get_loc(name) for name in source.unmapped]] = UNMAPPED
        cells[number][list(source.source.misshapen), :] = HELD
        if source.skipped.any():
            cells[number][source.skipped] = SKIPPED
    fates = [_row_fates(checked, number, cells[number], row_marks[number]) for number in range(len(cells))]
    every_row = np.concatenate([*fates, np.array([], dtype=object)])
    counted_rows = {fate: int((every_row == fate).sum()) for fate in ROW_FATES}
    if left_out := int((every_row == LEFT_OUT).sum()):
        counted_rows[LEFT_OUT] = left_out
    counted_cells = {name: sum(int((one == code).sum()) for one in cells) for code, name in enumerate(CELL_FATES) if code != OPEN}
    assert sum(counted_rows.values()) == sum(len(source.source.cells) for source in checked.sources), "a source row has no fate"
    assert sum(counted_cells.values()) == sum(source.missing.size for source in checked.sources), "a source cell has no fate"
    return Account(counted_rows, counted_cells, _table_counts(checked, same), _reasons(checked), fates)


def _first_fates(shape: tuple[int, ...], checked: Checked, number: int) -> np.ndarray:
    """Fates that do not depend on the check: nothing written, or a word that says that nothing was found."""
    source = checked.sources[number]
    fates = np.where(source.missing, np.uint8(MISSING), np.uint8(OPEN))
    find_columns = {column for one in source.mapped if one.table == "finds" for names in one.columns.values() for column in names}
    find_columns |= {str(name) for one in source.mapped for names in one.wide.values() for name in set(names)}
    for column in source.find_words:
        place = source.source.cells.columns.get_loc(column)
        fates[:, place] = np.where(fates[:, place] == OPEN, np.where(source.no_find | source.zero(column), NO_FIND, OPEN), fates[:, place])
    for column in find_columns:
        place = source.source.cells.columns.get_loc(column)
        fates[:, place] = np.where((fates[:, place] == OPEN) & source.no_find, NO_FIND, fates[:, place])
    told_so = source.uncounted[source.uncounted["text"].isin(source.not_counted)] if source.not_counted else source.uncounted.iloc[:0]
    for row, column in told_so[["row", "column"]].itertuples(index=False):
        place = source.source.cells.columns.get_loc(column)
        fates[row, place] = NOT_COUNTED
    return fates


def _mark_table(
    table: str, result: TableCheck, checked: Checked, same: set[str], cells: list[np.ndarray], row_marks: list[np.ndarray]
) -> None:
    one, merged = result.candidates, result.merged
    if one.typed.empty:
        return
    row_of = pd.Index(merged.row_of)
    row_held = row_of.isin(result.held_rows)
    in_book = one.typed[key_of(table)].isin(same).to_numpy()
    held_values = checked.held[(checked.held["table"] == table) & (checked.held["candidate"] < 0) & (checked.held["field"] != "")]
    held_at = {place: part.to_numpy() for place, part in held_values.groupby(["field", "source"])["row"]}
    provides = np.zeros(len(one.typed), dtype=bool)
    start = 0
    for number, mapped in one.parts:
        span = slice(start, start + len(mapped.text))
        for name in mapped.text.columns:
            stored = rows_stored(one, merged, name)[span] >= 0
            provides[span] |= stored
            held_here = np.isin(mapped.rows, held_at.get((name, number), ()))
            fate = np.where(stored & ~in_book[span], np.uint8(STORED), np.uint8(SAME))
            fate[row_held[span] | merged.differs[name][span] | held_here | _repeats_of(held_here, row_of[span])] = HELD
            written = mapped.text[name].notna().to_numpy()
            for column in mapped.columns.get(name, ()):
                place = checked.sources[number].source.cells.columns.get_loc(column)
                target = cells[number][:, place]
                np.maximum.at(
                    target, mapped.rows[written], np.where(target[mapped.rows[written]] == MISSING, np.uint8(MISSING), fate[written])
                )
            if name in mapped.wide:
                places = checked.sources[number].source.cells.columns.get_indexer(mapped.wide[name])
                at = (mapped.rows[written], places[written])
                cells[number][at] = np.maximum(cells[number][at], fate[written])
        rows = mapped.rows
        np.logical_or.at(row_marks[number][:, 0], rows, row_held[span] | merged.later[span])
        np.logical_or.at(row_marks[number][:, 1], rows, ~row_held[span] & ~merged.later[span])
        np.logical_or.at(row_marks[number][:, 2], rows, provides[span] & ~in_book[span] & ~row_held[span])
        if table == _lowest(checked, number):
            np.logical_or.at(row_marks[number][:, 3], rows, ~row_held[span] & ~merged.later[span])
        start = span.stop


def _repeats_of(held_here: np.ndarray, row_of: pd.Index) -> np.ndarray:
    """Cells that repeat a value which is held where it was first written."""
    held_rows = row_of[held_here]
    return np.asarray(row_of.isin(held_rows)) if len(held_rows) else np.zeros(len(row_of), dtype=bool)


def _lowest(checked: Checked, number: int) -> str:
    mapped = {one.table for one in checked.sources[number].mapped}
    return next(table for table in reversed(LOADED) if table in mapped)


def _row_fates(checked: Checked, number: int, cells: np.ndarray, marks: np.ndarray) -> np.ndarray:
    """Fate of each source row, by the lowest table that the sheet fills: finds before visits before sites."""
    source = checked.sources[number]
    some_held, new, lowest = (cells == HELD).any(axis=1), marks[:, 2], marks[:, 3]
    fates = np.where(some_held, "accepted_with_held", np.where(new, "accepted", "repeat")).astype(object)
    fates[~lowest] = "held"
    without = source.no_find & marks[:, 1]
    fates[without] = "no_find"
    fates[list(source.source.misshapen)] = "held"
    if source.skipped.any():
        fates[source.skipped] = LEFT_OUT
    return fates


def _table_counts(checked: Checked, same: dict[str, set[str]]) -> dict[str, dict[str, int]]:
    counts = {}
    for table, result in checked.tables.items():
        known = int(result.accepted[key_of(table)].isin(same.get(table, set())).sum())
        counts[table] = {"accepted": len(result.accepted) - known, "held": len(result.held_rows), "same": known}
    return counts


def _reasons(checked: Checked) -> pd.DataFrame:
    what = np.where(checked.held["candidate"] >= 0, "row", "value")
    return checked.held.assign(what=what).groupby(["rule", "what"]).size().rename("n").reset_index()
