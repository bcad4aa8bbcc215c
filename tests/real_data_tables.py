"""The tables of docs/real_data.md, made from the real survey sheets; `python -m tests.real_data_tables` writes them into the page."""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.care.card import card_rows
from pipeline.checking import accounting
from pipeline.commands import run
from pipeline.settings import read_settings

ROOT = Path(__file__).resolve().parent.parent
PAGE = ROOT / "docs" / "real_data.md"
SHEETS = {
    "canaan_valley_2001_2006": ("CVNWR_locations_intersected.csv", "CVNWR_transects.csv"),
    "ncr_lotic_2005_2017": ("NCRlotic_all.csv",),
    "gsmnp_2012": ("Salamander Data.csv",),
}
# Dates after it would lie in the future; fixed, so that the outcome does not depend on the day of the test.
TODAY = date(2024, 1, 1)
FATES = {
    "accepted": "accepted",
    "accepted_with_held": "accepted with a value or part held back",
    "held": "held back",
    "repeat": "repeats of what another row says",
    "no_find": "say that nothing was found",
    "stored": "stored",
    "same": "same as a stored cell",
    "missing": "empty or a missing token",
    "unmapped": "in a column that the map lists as unused",
}


@dataclass(frozen=True)
class Loaded:
    """A real sheet, loaded in a book of its own through its map, and what was derived from it."""

    name: str
    folder: Path
    files: tuple[Path, ...]
    report: run.Report
    derived: run.Derived


def column_map(name: str) -> Path:
    return ROOT / "data" / "column_maps" / f"{name}.toml"


def new_book(name: str, folder: Path) -> Path:
    run.init(folder, column_map(name).with_suffix(".book.toml").read_text(encoding="utf-8"))
    return folder


def load(name: str, open_data: Path, folder: Path) -> Loaded:
    """Load a sheet, in a new book, and derive its targets."""
    files = tuple(open_data / name / file for file in SHEETS[name])
    report = run.load_files(new_book(name, folder), list(files), column_map(name), today=TODAY)
    return Loaded(name, folder, files, report, run.derive_targets(folder))


def tables(loaded: Loaded) -> str:
    """Markdown of one sheet: accounting, reasons, marks, targets, and finds that feed none."""
    account = loaded.report.account
    assert account is not None
    per_table = [[name, counts["accepted"], counts["held"]] for name, counts in account.tables.items() if any(counts.values())]
    parts = [
        _fates("source rows", account.rows, accounting.ROW_FATES),
        _fates("source cells", account.cells, ("stored", "same", "missing", "no_find", "unmapped", "held")),
        _table(["rows made", "accepted", "held back"], per_table),
        _table(["of the visits", "n"], _visits(run.status(loaded.folder))),
        _reasons("held back", loaded.report.held, "items"),
        _reasons("marked, kept", loaded.report.flags, "marks"),
        _targets(loaded),
        _excluded(loaded.derived.facts["exclusions"]),
    ]
    return "\n\n".join(part for part in parts if part)


def _table(heading: list[str], rows: list[list[Any]]) -> str:
    if not rows:
        return ""
    numeric = ["--:" if isinstance(cell, int) else "---" for cell in rows[0]]
    lines = [heading, numeric, *([str(cell) for cell in row] for row in rows)]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _fates(title: str, counts: dict[str, int], order: tuple[str, ...]) -> str:
    rows: list[list[Any]] = [[FATES[fate], counts[fate]] for fate in order]
    return _table([title, "n"], [*rows, ["**all**", sum(counts.values())]])


def _visits(status: dict[str, Any]) -> list[list[Any]]:
    without, incomplete = status["visits_without_finds"], status["visits_incomplete"]
    with_finds = status["tables"]["visits"] - without - incomplete
    return [["with finds", with_finds], ["without a find", without], ["incomplete: all their finds are held back", incomplete]]


def _reasons(title: str, reasons: pd.DataFrame, unit: str) -> str:
    rows = []
    for (table, field, rule), part in reasons.groupby(["table", "field", "rule"], sort=True):
        where = f"{table}.{field}" if field else str(table)
        rows.append([where, f"`{rule}`", len(part), len(part[["source", "row"]].drop_duplicates())])
    return _table([title, "rule", unit, "source rows"], rows)


def _targets(loaded: Loaded) -> str:
    """The table of each taxon's card as it stands, and how its summer sits with common practice."""
    settings, derived = read_settings(loaded.folder), loaded.derived
    rows = []
    for taxon in settings.taxa["code"]:
        if taxon not in set(derived.targets["taxon"]):
            continue
        cells, seasons = card_rows(taxon, None, derived.targets, derived.readings, settings.taxa, derived.facts)
        rows += [[f"{taxon} {row['what'].lower()}", *(_season(row["cells"][name]) for name, _ in seasons), _never(row)] for row in cells]
    if not rows:
        return "No card has a row: nothing was read at an animal of a stage that is told.\n"
    heading = ["who, where", *(f"{name} ({months})" for name, months in seasons), "never above"]
    return f"{_table(heading, rows)}\n\n{_practice(derived.targets)}"


def _season(cell: dict[str, Any]) -> str:
    if not cell["set"]:
        return "not known"
    acts = sorted({line["act"] for line in cell["lines"]})
    act = f"{acts[0]:g}" if len(acts) == 1 else f"{acts[0]:g}–{acts[-1]:g}"
    return f"**{cell['set']}**, band {cell['low']:g}–{cell['high']:g}, act above {act}".replace("\N{NO-BREAK SPACE}", " ")


def _never(row: dict[str, Any]) -> str:
    return f"{row['ceiling_words']}: {row['bound_by'].split(';')[0]}".replace("\N{NO-BREAK SPACE}", " ")


def _practice(targets: pd.DataFrame) -> str:
    summer = targets[targets["month"].isin(["6", "7", "8"]) & (targets["status"] == "target")]
    low, high = summer["set_point_low"].min(), summer["set_point_high"].max()
    most = targets["ceiling"].max()
    return (
        f"June to August is held at {low:g} to {high:g} °C ({low * 1.8 + 32:.0f} to {high * 1.8 + 32:.0f} °F), and nothing stands above"
        f" {most:g} °C ({most * 1.8 + 32:.0f} °F). Common practice, no source: high 50s °F in winter to high 60s in summer, low 70s at"
        " most, 80 °F never."
    )


def _excluded(exclusions: pd.DataFrame) -> str:
    counts = exclusions.groupby("reason")["n_finds"].sum().sort_values(ascending=False, kind="stable")
    return _table(["finds listed that feed no target, because", "rows"], [[reason, int(n)] for reason, n in counts.items()])


def cut(page: str, name: str) -> tuple[str, str, str]:
    """The page before, in and after the part that is made for a sheet."""
    before, rest = page.split(f"<!-- made: {name} -->\n", 1)
    inside, after = rest.split(f"<!-- end: {name} -->", 1)
    return f"{before}<!-- made: {name} -->\n", inside.strip("\n"), f"<!-- end: {name} -->{after}"


def main() -> None:
    """Write the tables of every sheet into the page."""
    open_data = (ROOT / os.environ.get("RILLBOOK_OPEN_DATA", "../shared/open_data")).resolve()
    page = PAGE.read_text(encoding="utf-8")
    for name in SHEETS:
        with tempfile.TemporaryDirectory() as folder:
            made = tables(load(name, open_data, Path(folder) / "book"))
        before, _, after = cut(page, name)
        page = f"{before}\n{made}\n\n{after}"
    PAGE.write_text(page, encoding="utf-8", newline="\n")
    sys.stdout.write(f"Wrote {PAGE.name}.\n")


if __name__ == "__main__":
    main()
