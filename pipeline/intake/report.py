"""What a check or a load found, in frames and in words."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import pandas as pd

from pipeline.book.absences import absence_counts
from pipeline.book.changes import Changes, is_settled
from pipeline.checking.outcome import Account, Checked
from pipeline.errors import RillbookError
from pipeline.reading.rows import MappedSource
from schemas.frames.checks import HELD_COLUMNS

Progress = Callable[[str], None]
ALL_ACCEPTED, SOME_HELD = 0, 1


def silent(step: str) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class Report:
    """What a check or a load found.

    Attributes
    ----------
    account : Account or None
        What became of source rows and cells; None where nothing was read.
    held, flags : DataFrame
        Reasons with ``file`` and ``sheet``.
    changes : Changes or None
        What the load would replace.
    load_id : int or None
        Number of the load, where something was stored.
    notes : list of str
        What else a person should know.
    converted : DataFrame
        Values that are more than a copy of what was written, each with its text and the way that it was read.
    """

    account: Account | None
    held: pd.DataFrame
    flags: pd.DataFrame
    changes: Changes | None = None
    load_id: int | None = None
    notes: list[str] = field(default_factory=list)
    converted: pd.DataFrame = field(default_factory=pd.DataFrame)

    @property
    def exit_code(self) -> int:
        """0 where all was accepted, 1 where something is held back."""
        return SOME_HELD if len(self.held) else ALL_ACCEPTED

    def as_dict(self) -> dict[str, Any]:
        """The report for `--json`."""
        account = self.account
        return {
            "load": self.load_id,
            "rows": account.rows if account else {},
            "cells": account.cells if account else {},
            "tables": account.tables if account else {},
            "reasons": account.reasons.to_dict("records") if account else [],
            "held": _records(self.held),
            "flags": _records(self.flags),
            "converted": _records(self.converted),
            "would_change": self.changes.changed if self.changes else [],
            "would_vanish": self.changes.vanished if self.changes else [],
            "notes": self.notes,
        }


class WouldReplaceError(RillbookError):
    """A load that would replace what the book holds, without being told to."""

    def __init__(self, changes: Changes) -> None:
        self.changes = changes
        super().__init__(
            f"the book holds some of this already: {len(changes.changed)} would change and {len(changes.vanished)} would vanish. "
            "Nothing was changed.",
            "Look at the list. If the sheet holds another visit or find, give that a code of its own. If it corrects what was loaded, load "
            "it with --replace.",
        )


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return json.loads(
        frame.drop(columns=["source", "row", "candidate", "of"], errors="ignore").to_json(orient="records", force_ascii=False)
    )


def no_reasons() -> pd.DataFrame:
    """Reasons, of which there are none."""
    return pd.DataFrame(columns=[*HELD_COLUMNS, "file", "sheet"])


def with_files(frame: pd.DataFrame, sources: list[MappedSource]) -> pd.DataFrame:
    """Reasons or marks with the file and the sheet of each."""
    return frame.assign(
        file=[sources[one].source.file for one in frame["source"]], sheet=[sources[one].source.sheet for one in frame["source"]]
    )


def report_of(checked: Checked, account: Account, settled: pd.DataFrame, *, notes: list[str], **more: Any) -> Report:
    """A report of a check: without what a person answered before, and with what was worked out."""
    answered = is_settled(checked.held, settled)
    if answered.any():
        notes = [*notes, f"{int(answered.sum())} that you answered before stay as they were decided; they are not listed again."]
    held, flags = with_files(checked.held[~answered], checked.sources), with_files(checked.flags, checked.sources)
    converted = with_files(checked.converted, checked.sources)
    if len(converted):
        notes = [*notes, f"{len(converted)} values were worked out from what was written, not copied; each is on record with its text."]
    return Report(account, held, flags, notes=notes, converted=converted, **more)


def nothing_done(notes: list[str]) -> Report:
    """A report of a step that changed nothing, and why."""
    return Report(None, no_reasons(), no_reasons(), notes=notes)


def absence_notes(connection: Any, said_nothing: int = 0) -> list[str]:
    """What the book states of absence, and what it does not; nothing where no visit says what it looked for and that it counted all."""
    stated, silent = absence_counts(connection)
    if not stated and not silent:
        if not said_nothing:
            return []
        return [
            "No zero and no word for nothing found became an absence: no visit says both what it looked for (target_taxa) and that it "
            "counted every animal (all_counted)."
        ]
    note = f"The book states {stated} absences: taxa that a visit looked for, counting every animal, and did not find."
    if silent:
        number = sum(silent.values())
        reasons = ", ".join(f"{why} ({n})" for why, n in silent.items())
        note += f" Of {number} more nothing is said, which is not stated as an absence: {reasons}."
    return [note]


def now() -> datetime:
    """The moment in UTC, without zone."""
    return datetime.now(UTC).replace(tzinfo=None)
