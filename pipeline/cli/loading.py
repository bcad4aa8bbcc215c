"""Commands that read files: column-map, check, load, photos; and how their reports are told."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import Book, Files, Json, Map
from pipeline.cli.printing import SHOWN, plain, print_json, say, told_progress

if TYPE_CHECKING:
    from pipeline.commands.run import Report
    from pipeline.intake.logger_report import LoggerReport


def column_map(
    files: Annotated[list[Path], typer.Argument(help="Strange sheets of one survey: CSV, XLSX or ODS.", show_default=False)],
    out: Annotated[
        Path | None, typer.Option("--out", help="Write the map to this new file; else it is printed.", show_default=False)
    ] = None,
    book: Annotated[
        Path, typer.Option("--book", help="A book whose taxa the sheets may name; it is not needed.", show_default="this folder")
    ] = Path(),
) -> None:
    """Write a first column map for strange sheets, with each guess marked; load and check take it when a person has confirmed it.

    Example: rillbook column-map strange.csv --out strange.toml
    """
    from pipeline.commands import run

    made = run.propose(files, book, out)
    for note in made.notes:
        say(note, err=out is None)
    if out is None:
        say(made.text.rstrip("\n"))
    else:
        say(f"Wrote {out}.")
    say(
        f"Guesses to confirm: {made.guesses}. Questions to answer: {made.questions}. Each has its reason beside it. "
        "The map is refused until the list confirm is empty and no 'ask' is left.",
        err=out is None,
    )


def check(
    files: Files,
    map: Map = None,
    mark: Annotated[
        Path | None,
        typer.Option("--mark", help="Write a copy of the workbook, with each fault in its cell, to this new file.", show_default=False),
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Check sheets against the rules and the book, without loading anything.

    Example: rillbook check filled.xlsx --mark marked.xlsx
    """
    from pipeline.commands import run

    with told_progress() as progress:
        report = run.check_files(book, files, map, progress=progress, mark=mark)
    _show(report, json, "Checked. Nothing was loaded." if mark else "Checked. Nothing was written.")
    raise typer.Exit(report.exit_code)


def load(
    files: Files,
    map: Map = None,
    replace: Annotated[bool, typer.Option("--replace", help="Replace what the book holds of the same visits, finds and sites.")] = False,
    corrects: Annotated[
        int | None, typer.Option("--corrects", help="Number of the load that this one takes the place of.", show_default=False)
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Load sheets into the book, logger exports, or a list of held items that you have corrected.

    Example: rillbook load sites.csv visits.csv finds.csv
    """
    from pipeline.commands import run

    try:
        with told_progress() as progress:
            show = None if json else lambda changes: show_changes(changes.changed, changes.vanished, err=False)
            report = run.load_files(
                book, files, map, replace=replace, corrects=corrects, progress=progress, show=show, tell=None if json else say
            )
    except run.WouldReplaceError as problem:
        if json:
            print_json({"error": str(problem), "would_change": problem.changes.changed, "would_vanish": problem.changes.vanished})
        else:
            show_changes(problem.changes.changed, problem.changes.vanished, err=True)
        raise
    _show(report, json, f"Stored as load {report.load_id}." if report.load_id else "Nothing was stored.")
    raise typer.Exit(report.exit_code)


def photos(
    folder: Annotated[Path, typer.Argument(help="Folder of the photos; its subfolders too.", show_default=False)],
    book: Book = Path(),
    json: Json = False,
) -> None:
    """List when and where photos were taken, and the finds that they may show. The list is private; the photos are not touched.

    Example: rillbook photos trip_photos --book my_study
    """
    from pipeline.commands import run

    path, offers = run.write_photo_offers(book, folder)
    if json:
        print_json(plain(offers))
        return
    photos = offers.drop_duplicates("photo")
    say(f"{len(photos)} photos, {photos['latitude'].notna().sum()} with a place, {(photos['find_id'] != '').sum()} that may show a find.")
    say(f"Wrote {path}. It holds exact places: keep it to yourself, and take the place out of a photo before you share it.")


def show_changes(changed: list[str], vanished: list[str], err: bool) -> None:
    """Say what a load would change, and what would vanish."""
    for words, rows in (("Would change", changed), ("Would vanish", vanished)):
        if rows:
            say(f"{words}:", err=err)
            for row in rows:
                say(f"  {row}", err=err)


def _show(report: Report | LoggerReport, as_json: bool, last: str) -> None:
    if as_json:
        print_json(report.as_dict())
        return
    from pipeline.intake.logger_report import LoggerReport

    if isinstance(report, LoggerReport):
        _show_loggers(report, last)
        return
    if report.account is not None:
        rows, cells = report.account.rows, report.account.cells
        say(
            f"{sum(rows.values())} rows: {rows['accepted']} accepted, "
            f"{rows['accepted_with_held']} accepted with a value or part held back, "
            f"{rows['held']} held back, {rows['repeat']} repeats, {rows['no_find']} that say nothing was found"
            + (f", {rows['skipped']} left out as the map says." if "skipped" in rows else ".")
        )
        if cells:
            say("Cells: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in cells.items()) + ".")
        for table, counts in report.account.tables.items():
            if any(counts.values()):
                say(f"  {table}: {counts['accepted']} accepted, {counts['held']} held back, {counts['same']} as in the book")
    _show_reasons("Held back", report.held)
    _show_reasons("Marked, kept", report.flags)
    if report.load_id is None and report.changes is not None:
        show_changes(report.changes.changed, report.changes.vanished, err=False)
    for note in report.notes:
        say(note)
    if len(report.held):
        say("To repair: `rillbook held --csv held.csv`, fill in corrected or dismiss_reason and by, then `rillbook load held.csv`.")
    say(last)


def _show_loggers(report: LoggerReport, last: str) -> None:
    """One line a file, then what is held back and marked, by rule."""
    for one in report.files:
        rows = ", ".join(f"{n} {fate}" for fate, n in one.rows.items() if n)
        say(f"{one.file}: logger {one.logger_id}; {rows}")
        say(f"  dates {one.found['dates']}, clock {one.found['clock']}, UTC {one.found['offset']}, {one.found['unit']}")
    for title, reasons in (("Held back", report.held), ("Marked, kept", report.flags)):
        if len(reasons):
            say(f"\n{title}:")
        for rule, rows in reasons.groupby("rule", sort=False) if len(reasons) else ():
            say(f"  {len(rows)} × {rule}")
            say(f"    What to do: {rows['remedy'].iloc[0]}")
            for row in rows.head(SHOWN).to_dict("records"):
                since = f", {row['from_at']:%Y-%m-%d %H:%M} UTC" if "from_at" in row and row["from_at"] == row["from_at"] else ""
                times = f", {row['n']} times" if "text" in row and row["n"] > 1 else ""
                line = f", line {row['line']}" if row["line"] else ""
                say(f"    {row['file']}{line}{since}: {row['message']}{times}")
            if len(rows) > SHOWN:
                say(f"    … and {len(rows) - SHOWN} more; `--json` lists all")
    for note in report.notes:
        say(note)
    if len(report.held):
        say("What is held back of a logger's file is not stored; mend the map or the file, undo this load and load it again.")
    say(last)


def _show_reasons(title: str, reasons: Any) -> None:
    """Group reasons that need the same answer; name the first places of each."""
    if reasons.empty:
        return
    say(f"\n{title}:")
    for (table, name, rule), rows in reasons.groupby(["table", "field", "rule"], sort=False):
        first = rows.iloc[0]
        alike = rows["message"].nunique() == 1
        say(f"  {table}{'.' + name if name else ''}: {len(rows)} × {rule}{': ' + first['message'] if alike else ''}")
        say(f"    What to do: {first['remedy']}")
        for row in rows.head(SHOWN).to_dict("records"):
            text = row.get("text", row.get("value", ""))
            said = f" {text!r}" if name and text else ""
            place = f"{row['file']}{', sheet ' + row['sheet'] if row['sheet'] else ''}, line {row['line']}"
            say(f"    {place}, {row['row_key']}{said}{'' if alike else ': ' + row['message']}")
        if len(rows) > SHOWN:
            say(f"    … and {len(rows) - SHOWN} more; `--json` lists all")
