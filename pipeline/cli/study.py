"""The command that runs the invented study."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.printing import say, told_progress

if TYPE_CHECKING:
    pass


def demo(folder: Annotated[Path, typer.Argument(help="New folder for the invented study.", show_default=False)]) -> None:
    """Run the whole path on an invented study.

    Example: rillbook demo my_first_book
    """
    from pipeline.commands import run

    with told_progress() as progress:
        result = run.run_demo(folder, progress)
    rows = result.report.account.rows if result.report.account else {}
    say("An invented study: no animal, place or person in it is real.")
    say(f"{sum(rows.values())} rows read: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in rows.items() if n) + ".")
    planted = result.faults[result.faults["expected"] != ""]
    met = planted[planted["expected"] == planted["met"]]
    say(f"{len(met)} of {len(planted)} planted faults met their effect:")
    for effect, number in met.groupby("expected").size().items():
        say(f"  {effect}: {number}")
    extra = result.faults[result.faults["expected"] == ""]
    say(f"{len(extra)} faults that were not planted.")
    for row in result.faults[result.faults["expected"] != result.faults["met"]].itertuples():
        say(f"  {row.table} {row.row_key} {row.rule}: expected {row.expected or 'nothing'}, met {row.met or 'nothing'}")
    for one in result.audited.audits if result.audited else ():
        say(one.sentence)
    say("Look at:")
    for path in [folder / "out" / "targets.csv", *result.files]:
        say(f"  {path}")
    raise typer.Exit(0 if result.as_planned else 1)
