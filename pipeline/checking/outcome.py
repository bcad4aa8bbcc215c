"""What a check and its accounting came to: rows, reasons, marks and counts, passed on to the book and to reports."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from pipeline.checking.merging import Merged
from pipeline.checking.typed_rows import Candidates
from pipeline.reading.rows import MappedSource

ROW_TOO_LONG, ROW_CUT = "row_too_long", "row_cut"
VALUE_ONLY, NO_CANDIDATE = -1, 2**31 - 1
ROW_FATES = ("accepted", "accepted_with_held", "held", "repeat", "no_find")
LEFT_OUT = "skipped"


@dataclass(frozen=True)
class TableCheck:
    """What became of the rows of one table.

    Attributes
    ----------
    candidates, merged : Candidates, Merged
        All rows, and how they belong together.
    accepted : DataFrame
        Typed rows, held values taken out, indexed by candidate.
    held_rows : Index
        Candidates whose row is held back.
    """

    candidates: Candidates
    merged: Merged
    accepted: pd.DataFrame
    held_rows: pd.Index


@dataclass(frozen=True)
class Checked:
    """Outcome of a check.

    Attributes
    ----------
    sources : list of MappedSource
        The sheets.
    tables : dict of str to TableCheck
        By table.
    held, flags : DataFrame
        As `Held` and `Flags` of `schemas.frames.checks`: one row a reason. In `held`, ``candidate`` is `VALUE_ONLY` where a value is held
        and not its row; `NO_CANDIDATE` marks a row that could not be cut into cells; ``of`` is the candidate in either case.
    converted : DataFrame
        As `Converted`: one row a stored value that is more than a copy of what was written: its text, the value as text, and how it was
        read.
    uncounted : DataFrame
        As `Uncounted`: of which taxa which visits say nothing, and why.
    """

    sources: list[MappedSource]
    tables: dict[str, TableCheck]
    held: pd.DataFrame
    flags: pd.DataFrame
    converted: pd.DataFrame
    uncounted: pd.DataFrame

    def to_store(self) -> Checked:
        """What is stored, without what only the check needed: of a million finds half of the memory, which the engine needs next."""
        tables = {name: replace(one, candidates=one.candidates.to_store(one.held_rows)) for name, one in self.tables.items()}
        return replace(self, sources=[one.to_store() for one in self.sources], tables=tables)


@dataclass(frozen=True)
class Account:
    """What became of the rows and cells of a load.

    Attributes
    ----------
    rows, cells : dict of str to int
        Source rows and source cells by fate; `cells` counts what no field takes as unmapped.
    tables : dict of str to dict
        By table: rows ``accepted``, ``held``, ``same`` as in the book.
    reasons : DataFrame
        ``rule``, ``what`` (row or value), ``n``.
    row_fates : list of ndarray of str
        Fate of each row of each sheet.
    """

    rows: dict[str, int]
    cells: dict[str, int]
    tables: dict[str, dict[str, int]]
    reasons: pd.DataFrame
    row_fates: list[np.ndarray]
