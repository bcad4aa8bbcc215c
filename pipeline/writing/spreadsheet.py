"""Tables as CSV in which no spreadsheet finds a formula; each distinct text is looked at once."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from typing import Any, TypeAlias

import numpy as np
import pandas as pd

FORMULA = ("=", "+", "-", "@", "\t", "\r")
Column: TypeAlias = tuple[np.ndarray | None, np.ndarray]
"""The cells of a column, one a row; or for each row the place of its cell among them."""
ROWS = 20_000
QUOTES = ',"\r\n'
"""Signs for which a cell may stand in quote marks."""
QUOTED = re.compile(f"[{QUOTES}]").search


def for_spreadsheet(frame: pd.DataFrame) -> pd.DataFrame:
    """Put an apostrophe before texts that a spreadsheet would run as a formula; numbers such as -0.8 stay as they are.

    Parameters
    ----------
    frame : DataFrame
        Any columns; only text is touched.

    Returns
    -------
    DataFrame
    """
    return frame.assign(**{name: safe for name in frame.columns if (safe := _without_formulas(frame[name])) is not None})


def _without_formulas(column: pd.Series) -> pd.Series | None:
    """A column of text with its formulas made harmless; None where it has none."""
    if pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column):
        return None
    cells = column.to_numpy(dtype=object, copy=True)
    run = [place for place, cell in enumerate(cells) if isinstance(cell, str) and _is_formula(cell)]
    if not run:
        return None
    cells[run] = [f"'{cells[place]}" for place in run]
    kept = "object" if isinstance(column.dtype, pd.CategoricalDtype) else column.dtype
    return pd.Series(cells, index=column.index, dtype=kept)


def from_spreadsheet(text: str) -> str:
    """Take the apostrophe of :func:`for_spreadsheet` away again."""
    return text[1:] if text.startswith("'") and text[1:].startswith(FORMULA) else text


def csv_text(frame: pd.DataFrame) -> str:
    """A frame as CSV in which no spreadsheet finds a formula: to the byte what pandas writes of :func:`for_spreadsheet`.

    Parameters
    ----------
    frame : DataFrame
        Any columns; its index is left out.

    Returns
    -------
    str
        With a heading; lines end in a line feed.
    """
    return "".join(csv_parts(frame))


def csv_parts(frame: pd.DataFrame) -> Iterator[str]:
    """The text of :func:`csv_text` in parts of some thousand rows: of a long table the whole would fill the memory."""
    columns = _columns(frame)
    if columns is None:
        yield _by_pandas(for_spreadsheet(frame))
        return
    yield _by_pandas(frame.iloc[:0])
    for start in range(0, len(frame), ROWS):
        part = [column[start : start + ROWS].tolist() for column in columns]
        yield "\n".join(map(",".join, zip(*part, strict=True))) + "\n"


def _columns(frame: pd.DataFrame) -> list[np.ndarray] | None:
    """What stands in each row, column by column or several as one; None where only pandas knows how to write it."""
    if frame.shape[1] < 2 or frame.empty:
        # the writer marks a row that is nothing but one empty cell
        return None
    known, written = _Cells(), []
    for place in range(frame.shape[1]):
        column = _written(frame.iloc[:, place], known)
        if column is None:
            return None
        written.append(column)
    return [cells if place is None else cells[place] for place, cells in _together(written)]


def _together(columns: Iterable[Column]) -> list[Column]:
    """The columns, neighbours as one where they have few pairs of cells: the rows of a long table are then made of fewer parts."""
    fewer: list[Column] = []
    for place, cells in columns:
        before, cells_before = fewer[-1] if fewer else (None, cells)
        if place is None or before is None or len(cells_before) * len(cells) > len(place):
            fewer.append((place, cells))
            continue
        pair = before * len(cells) + place
        pairs = np.flatnonzero(np.bincount(pair))
        number = np.zeros(pairs[-1] + 1, dtype=int)
        number[pairs] = range(len(pairs))
        left, right = cells_before[pairs // len(cells)], cells[pairs % len(cells)]
        fewer[-1] = number[pair], np.array([f"{one},{other}" for one, other in zip(left, right, strict=True)], dtype=object)
    return fewer


def _by_pandas(frame: pd.DataFrame) -> str:
    return str(frame.to_csv(index=False, lineterminator="\n"))


class _Cells(dict[Any, str]):
    """Each text as a cell of a file, made when it is first asked for; what is no text is missing and gives an empty cell."""

    def __missing__(self, text: Any) -> str:
        cell = "" if not isinstance(text, str) else f"'{text}" if _is_formula(text) else text
        if QUOTED(cell):
            line = io.StringIO()
            csv.writer(line, lineterminator="\n").writerow(["", cell])
            cell = line.getvalue()[1:-1]
        self[text] = cell
        return cell


def _written(column: pd.Series, cells: _Cells) -> Column | None:
    """The cells of a column; None where its values are neither text nor numbers, or of several kinds."""
    if column.dtype in ("float64", "Int64", "int64", "bool", "boolean"):
        return None, _numbers(column)
    grouped = isinstance(column.dtype, pd.CategoricalDtype)
    said = column.cat.categories.to_series() if grouped else column
    if pd.api.types.infer_dtype(said, skipna=True) not in ("string", "empty"):
        return None
    # an array of pandas gives its values one by one, and slowly
    texts = said.to_numpy(dtype=object).tolist()
    written = np.array([*(texts if _is_plain(texts) else map(cells.__getitem__, texts)), ""], dtype=object)
    # what is missing has the number -1, and gets the empty cell, the last
    return (column.cat.codes.to_numpy().astype(int) % len(written), written) if grouped else (None, written[:-1])


def _is_plain(texts: list[Any]) -> bool:
    """Whether each is a text that stands in the file as it is."""
    distinct = set(texts)
    try:
        whole = "".join(distinct)
    except TypeError:
        return False
    return {text[:1] for text in distinct}.isdisjoint(FORMULA) and not any(sign in whole for sign in QUOTES)


def _numbers(column: pd.Series) -> np.ndarray:
    """The cells of a column of numbers, each distinct one written once."""
    real = column.dtype == "float64"
    # by their bits: 0.0 and -0.0 are equal and not written alike
    numbers, distinct = pd.factorize(column.to_numpy().view("int64") if real else column.array, use_na_sentinel=False)
    distinct = distinct.view("float64") if real else distinct
    written = ["" if missing else str(value) for value, missing in zip(distinct.tolist(), pd.isna(distinct), strict=True)]
    return np.array(written, dtype=object)[numbers]


def _is_formula(text: str) -> bool:
    return text.startswith(FORMULA) and not _is_number(text)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
