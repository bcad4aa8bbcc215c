"""What passes between reading, mapping and checking: sheets, and the rows of tables that they make, with where each cell came from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from pipeline.errors import RillbookError
from pipeline.reading.values import CANONICAL, Style
from schemas.distinct import Coded

ZEROS = ("0", "0.0", "00")
UNCOUNTED = ("visit_id", "taxon", "life_stage", "text", "row", "column")


@dataclass(frozen=True)
class SourceTable:
    """One sheet as text.

    Attributes
    ----------
    file, sheet : str
        File name without its folder, and sheet name (empty for a text file).
    cells : DataFrame of str
        One column a column of the sheet, one row a row that is not blank; empty text where a cell is empty.
    lines : ndarray of int
        Line number of each row in the file, from 1, the header counted.
    sha256 : str
        Hash of the file's bytes.
    misshapen : dict of int to tuple of str
        Position of a row that has more cells than the header, and all its cells as they stand.
    blank_rows : int
        Rows without any text, left out.
    repeated : tuple of str
        Headings that stand more than once; in `cells` each of these columns has its position behind its name, ``Depth (column 4)``.
    heading_line : int
        Line of the headings.
    coded : dict of str to Coded
        The columns of `cells` told apart already, where that was done at reading; empty where `cells` were changed since.
    """

    file: str
    sheet: str
    cells: pd.DataFrame
    lines: np.ndarray
    sha256: str
    misshapen: dict[int, tuple[str, ...]]
    blank_rows: int
    repeated: tuple[str, ...] = ()
    heading_line: int = 1
    coded: dict[str, Coded] = field(default_factory=dict, repr=False)

    @property
    def label(self) -> str:
        """File, and sheet where there is one."""
        return self.file + (f", sheet {self.sheet}" if self.sheet else "")


def refuse_repeats(table: SourceTable) -> None:
    """Refuse a sheet with two columns of one name, where no map says which of them is meant.

    Raises
    ------
    RillbookError
        Naming the first such heading.
    """
    if table.repeated:
        raise RillbookError(
            f"two columns are named {table.repeated[0]!r}.", "Rename one of them.", f"{table.label}, line {table.heading_line}"
        )


@dataclass(frozen=True)
class Cell:
    """How the text of one column is taken: see docs/column_maps.md for the words."""

    column: str
    recode: dict[str, str] = field(default_factory=dict)
    others: str | None = None
    case: str = ""
    part: Any = None
    missing: tuple[str, ...] = ()
    before: str = ""
    after: str = ""


@dataclass(frozen=True)
class FieldMap:
    """Where the text of one field comes from."""

    name: str
    cells: tuple[Cell, ...] = ()
    fields: tuple[str, ...] = ()
    join: str = "_"
    number: bool = False
    constant: str | None = None
    by_stage: dict[str, str] = field(default_factory=dict)
    sum_over: tuple[str, ...] = ()
    several: str = ""
    mean: bool = False
    style: Style = CANONICAL

    @property
    def only_cell(self) -> Cell | None:
        """The cell of a field that one column alone feeds, with nothing that stands in for what is missing."""
        alone = len(self.cells) == 1 and not (self.fields or self.mean or self.by_stage) and self.constant is None
        return self.cells[0] if alone else None


@dataclass(frozen=True)
class SourceMap:
    """How one sheet is read; `where` is its own line in the map, `lines` that of each column."""

    file: str
    sheet: str
    missing: tuple[str, ...]
    unused: tuple[str, ...]
    no_find: dict[str, tuple[str, ...]]
    wide_field: str
    wide: dict[str, dict[str, str]]
    tables: dict[str, tuple[FieldMap, ...]]
    skip: dict[str, tuple[str, ...]] = field(default_factory=dict)
    total: str = ""
    total_of: tuple[str, ...] = ()
    wide_zeros: tuple[str, ...] = ()
    not_counted: tuple[str, ...] = ()
    strict: bool = True
    where: str = ""
    lines: dict[str, str] = field(default_factory=dict)

    def named_columns(self) -> dict[str, None]:
        """Columns that the map names, in order."""
        named = [cell.column for maps in self.tables.values() for one in maps for cell in one.cells]
        named += [column for maps in self.tables.values() for one in maps for column in one.sum_over]
        return dict.fromkeys([*named, *self.no_find, *self.wide, *self.skip, *([self.total] if self.total else []), *self.total_of])


@dataclass(frozen=True)
class ColumnMap:
    """A whole map; `sha256` is empty for rillbook's own sheets."""

    title: str
    sha256: str
    sources: tuple[SourceMap, ...]


@dataclass(frozen=True)
class Mapped:
    """Rows of one table as one sheet gives them, still text.

    Attributes
    ----------
    table : str
        Name of the table.
    text : DataFrame of str
        One column a mapped field; missing where nothing was written.
    rows : ndarray of int
        Position in the source sheet that each row comes from.
    styles : dict of str to Style
        How the text of a field is to be read.
    several : dict of str to str
        For a field of a visit, what its several readings become: ``mean``, ``median`` or ``first``.
    columns : dict of str to tuple of str
        Source columns of each field.
    wide : dict of str to ndarray
        For a field that many columns feed, the column of each row.
    coded : dict of str to Coded
        Fields of `text` that are told apart already.
    """

    table: str
    text: pd.DataFrame
    rows: np.ndarray
    styles: dict[str, Style]
    columns: dict[str, tuple[str, ...]]
    wide: dict[str, np.ndarray]
    several: dict[str, str] = field(default_factory=dict)
    coded: dict[str, Coded] = field(default_factory=dict, repr=False)


@dataclass(frozen=True)
class MappedSource:
    """One sheet with the rows that it makes.

    Attributes
    ----------
    source : SourceTable
        The sheet.
    mapped : tuple of Mapped
        Parents first.
    missing : ndarray of bool, shape (rows, columns)
        Cells that hold nothing or a missing token.
    unmapped : tuple of str
        Columns that no field takes.
    no_find : ndarray of bool, shape (rows,)
        Rows that say that nothing was found.
    find_words : tuple of str
        Columns that say so: a marker, or a count of zero.
    zeros : tuple of str
        Texts of these columns that mean that none was there.
    uncounted : DataFrame of str
        Cells of wide columns without a count: ``visit_id``, ``taxon``, ``life_stage``, ``text``, ``row`` (position) and ``column``. They
        say nothing, above all no absence.
    not_counted : tuple of str
        Texts of these columns that say so in a word.
    skipped : ndarray of bool
        Rows that the map leaves out, such as sums and notes; empty where there are none.
    totals : DataFrame
        Rows whose total is not the sum of their counts: ``row`` (position), ``total`` as written and ``counted``.
    """

    source: SourceTable
    mapped: tuple[Mapped, ...]
    missing: np.ndarray
    unmapped: tuple[str, ...]
    no_find: np.ndarray
    find_words: tuple[str, ...]
    zeros: tuple[str, ...] = ZEROS
    uncounted: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(UNCOUNTED)))
    not_counted: tuple[str, ...] = ()
    skipped: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    totals: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"row": [], "total": [], "counted": []}))

    def to_store(self) -> MappedSource:
        """The sheet as it was cut, without the rows that were made of it; cells that are told apart are held once."""
        # a part of a frame that is no copy keeps the whole
        cells = self.source.cells.iloc[:0].copy() if list(self.source.coded) == list(self.source.cells) else self.source.cells
        none = np.zeros(0, dtype=bool)
        return replace(self, source=replace(self.source, cells=cells), mapped=(), missing=none, no_find=none)

    def zero(self, column: str) -> np.ndarray:
        """Rows whose cell of the column is a count of zero."""
        return self.source.cells[column].str.strip().isin(self.zeros).to_numpy()
