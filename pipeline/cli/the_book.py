"""Commands on what the book holds: held, status, undo."""

from __future__ import annotations

import json as json_text
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from pipeline.cli.options import Book, Json
from pipeline.cli.printing import SHOWN, print_json, rows_of, say

if TYPE_CHECKING:
    pass


def held(
    csv: Annotated[
        Path | None, typer.Option("--csv", help="Write the list to this file, with empty columns for your answers.", show_default=False)
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """List what is held back, and flags that keep a row out of the targets.

    Example: rillbook held --csv held.csv
    """
    from pipeline.commands import run

    if csv is not None:
        number, kept = run.write_held(book, csv)
        if json:
            print_json({"file": str(csv), "items": number, "answers_kept": kept})
            return
        say(f"Wrote {number} items to {csv}. Fill in corrected or dismiss_reason, and by; then `rillbook load {csv}`.")
        say("One answer mends all lines that are alike: write yes under for_all.")
        if kept:
            say(f"{kept} answers that stood there are kept.")
        return
    items = run.held_items(book)
    if json:
        print_json(rows_of(items))
        return
    groups = run.held_groups(book)
    for row in groups.itertuples():
        more = f" It is one of {row.alike} alike: {row.items}; one answer with for_all mends them." if row.alike > 1 else ""
        say(
            f"{row.item}: {row.file}, line {row.line}, {row.table} {row.row}{' ' + row.field if row.field else ''} {row.text!r}: "
            f"{row.message} {row.remedy}{more}"
        )
    follow = len(items) - int(groups["alike"].sum()) if len(groups) else len(items)
    say(f"{len(items)} items, {len(groups)} to answer." if len(items) else "Nothing is held back.")
    if follow:
        say(f"{follow} rows hang on others that are held and follow by themselves once those are mended.")


def status(book: Book = Path(), json: Json = False) -> None:
    """Say what the book holds.

    Example: rillbook status
    """
    from pipeline.commands import run
    from pipeline.writing.words import some_of

    found = run.status(book)
    if json:
        print_json(found)
        return
    say(found["title"] or "(no title)")
    if not found["loads"]:
        say("Nothing is loaded yet. Load a sheet with `rillbook load FILE`.")
        return
    for one in found["loads"]:
        state = "" if one["stands"] else " (undone)" if one["undone_at"] else " (corrected by a later load)"
        files = json_text.loads(one["files"])
        say(f"  {one['kind']} {one['load_id']}, {one['loaded_at'][:16]} UTC: {some_of(files, SHOWN)}{state}")
    say(", ".join(f"{n} {table}" for table, n in found["tables"].items()))
    if found["animals"]:
        say("Counted: " + ", ".join(f"{number} {what.replace('_', ' ')}" for what, number in found["animals"].items()))
    for name, one in found["temperatures"].items():
        say(f"  {name}: {one['n']} readings, {one['lowest']:g} to {one['highest']:g} °C")
    of_loggers = found["logger_files"]
    if of_loggers["readings"]:
        say(f"{of_loggers['readings']} readings of {of_loggers['loggers_with_readings']} loggers, {of_loggers['held']} held back")
        for rule, number in of_loggers["flags"].items():
            say(f"  marked {rule}: {number}")
    say(f"{found['visits_without_finds']} visits without finds, {found['visits_incomplete']} whose finds were held back or not counted")
    if found["absences"] or found["absences_not_stated"]:
        say(f"{found['absences']} absences stated, {sum(found['absences_not_stated'].values())} not stated for want of a count")
    say(f"{found['held']} items held back or waiting for a decision")
    for rule, number in found["flags"].items():
        say(f"  marked {rule}: {number}")


def undo(load: Annotated[int, typer.Argument(help="Number of the load.", show_default=False)], book: Book = Path()) -> None:
    """Take a load back; what it replaced is current again.

    Example: rillbook undo 3
    """
    from pipeline.commands import run

    run.undo(book, load)
    say(f"Load {load} is undone. The text of its rows stays in the book.")


def backup(
    file: Annotated[Path | None, typer.Argument(help="New file to write to.", show_default="beside the book, with the day")] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write the book to one file and read that again from end to end. It holds exact places: keep it to yourself.

    Example: rillbook backup /media/stick/my_study.rillbook.zip --book my_study
    """
    from pipeline.commands import run

    written, rows = run.backup(book, file)
    if json:
        print_json({"file": str(written), "tables": rows})
        return
    say(f"Wrote {written} and read it again: {sum(rows.values())} rows in {len(rows)} tables, all as in the book.")
    say("It holds exact places: keep it to yourself, and not on the same disk alone.")


def restore(
    file: Annotated[Path, typer.Argument(help="What rillbook backup wrote.", show_default=False)],
    folder: Annotated[Path | None, typer.Argument(help="New folder for the book.", show_default="named after the file")] = None,
    json: Json = False,
) -> None:
    """Make a book from a backup, in a new folder, and compare all of it with what was backed up.

    Example: rillbook restore my_study.rillbook.zip my_study_again
    """
    from pipeline.commands import run

    place = folder if folder is not None else Path(file.name.split(".")[0] or "restored")
    rows = run.restore(file, place)
    if json:
        print_json({"book": str(place), "tables": rows})
        return
    say(f"Restored {place}: {sum(rows.values())} rows in {len(rows)} tables, each as it was backed up.")
    say("Its pages are made anew: `rillbook targets`, `rillbook map`.")


def export_sheets(book: Book = Path(), json: Json = False) -> None:
    """Write every sheet that was loaded as it was written, with file, line and load. They hold exact places.

    Example: rillbook export-sheets --book my_study
    """
    from pipeline.commands import run

    files, told = run.export_sheets(book)
    if json:
        print_json(told)
        return
    for one in told:
        say(f"  {one['file']}: " + ("cannot be read, the book is damaged" if one["rows"] is None else f"{one['rows']} rows"))
    say(f"Wrote {len(files)} sheets. They hold exact places: keep them to yourself." if told else "Nothing is loaded yet.")
    if len(files) < len(told):
        raise typer.Exit(1)
