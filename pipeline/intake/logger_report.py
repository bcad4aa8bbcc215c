"""What a load of logger exports found."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import pandas as pd


@dataclass(frozen=True)
class FileReport:
    """What became of one file.

    Attributes
    ----------
    file, logger_id : str
        The file and the logger that it is of.
    found : dict of str to str
        How it is written, and where that is known from.
    rows : dict of str to int
        Rows by fate: heading, stored, same (as another file), event, blank, held.
    values : dict of str to int
        Values of temperature, humidity and light, and those missing or held.
    """

    file: str
    logger_id: str
    found: dict[str, str]
    rows: dict[str, int]
    values: dict[str, int]


@dataclass(frozen=True)
class LoggerReport:
    """What a check or a load of logger files found."""

    files: list[FileReport]
    held: pd.DataFrame
    flags: pd.DataFrame
    load_id: int | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def exit_code(self) -> int:
        """0 where all was accepted, 1 where something is held back."""
        return 1 if len(self.held) else 0

    @property
    def rows(self) -> dict[str, int]:
        """Rows of all files by fate."""
        return dict(sum((Counter(one.rows) for one in self.files), Counter()))

    def as_dict(self) -> dict[str, Any]:
        """The report for `--json`."""
        return {
            "load": self.load_id, "rows": self.rows, "files": [one.__dict__ for one in self.files], "held": _records(self.held),
            "flags": _records(self.flags), "notes": self.notes,
        }  # fmt: skip


def _records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return json.loads(frame.to_json(orient="records", force_ascii=False, date_format="iso"))  # type: ignore[no-any-return]
