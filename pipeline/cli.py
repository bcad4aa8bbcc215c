"""The command line: thin, plain words, exit code 0 all accepted, 1 something held back, 2 could not run and nothing changed."""

from __future__ import annotations

import io
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.errors import RillbookError
from schemas.enums import Status

if TYPE_CHECKING:
    from pipeline.commands.load_loggers import LoggerReport
    from pipeline.commands.run import Report

ALL_ACCEPTED, COULD_NOT_RUN, INTERRUPTED = 0, 2, 130
STOPPED = "stopped. What was not finished is not in the book; `rillbook status` says what is."
SHOWN = 5

app = typer.Typer(
    name="rillbook",
    help="From the records of a stream survey to the temperatures that keepers copy, and maps that do not give the spring away.",
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Book = Annotated[Path, typer.Option("--book", help="The book's folder.", show_default="this folder")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON and nothing else.")]
Files = Annotated[
    list[Path],
    typer.Argument(
        help="Sheets: CSV, XLSX or ODS; surveys that the form saved; GPX with waypoints beside them; or logger exports.", show_default=False
    ),
]
Map = Annotated[Path | None, typer.Option("--map", help="Column map of a sheet that was not made for rillbook.", show_default=False)]


def main() -> None:
    """Run the command line; errors are one line with a remedy, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a console that lacks a sign shows its number rather than stopping half-way
            stream.reconfigure(errors="backslashreplace")
    try:
        sys.exit(_run())
    except BrokenPipeError:
        # whoever reads the output has seen enough; nothing may be written at exit any more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(ALL_ACCEPTED)


def _run() -> int:
    try:
        code = int(app(sys.argv[1:] or ["--help"], standalone_mode=False) or ALL_ACCEPTED)
        return _fail(STOPPED) if code == INTERRUPTED else code
    except RillbookError as problem:
        return _fail(str(problem))
    except (KeyboardInterrupt, typer.Abort):
        return _fail(STOPPED)
    except BrokenPipeError:
        raise
    except Exception as problem:
        if hasattr(problem, "format_message"):
            return _fail(f"{problem.format_message().rstrip('.')}. Try `rillbook --help`.")
        if os.environ.get("RILLBOOK_TRACEBACK"):
            raise
        first = (str(problem).splitlines() or [""])[0]
        return _fail(
            f"rillbook stumbled over {type(problem).__name__}: {first}. What was not finished is not in the book. "
            "Set RILLBOOK_TRACEBACK=1, run it again and report what it prints."
        )


def _fail(text: str) -> int:
    _say(f"rillbook: {' '.join(text.split())}", err=True)
    return COULD_NOT_RUN


def _say(text: str, err: bool = False) -> None:
    """Print, with control characters as their numbers: a cell of a sheet must not steer the terminal."""
    typer.echo("".join(sign if sign.isprintable() or sign == "\n" else sign.encode("unicode_escape").decode() for sign in text), err=err)


@contextmanager
def _progress() -> Iterator[Callable[[str], None]]:
    """Tell each step on a terminal; say nothing in a pipe."""
    if not sys.stderr.isatty():
        yield lambda step: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as shown:
        yield lambda step: shown.update(step)


def _plain(frame: Any) -> Any:
    return json.loads(frame.to_json(orient="records", date_format="iso"))


def _json(document: Any) -> None:
    typer.echo(json.dumps(document, indent=1, ensure_ascii=False))


@app.command()
def init(
    folder: Annotated[Path, typer.Argument(help="New folder for the book.", show_default=False)],
    settings: Annotated[Path | None, typer.Option("--settings", help="A rillbook.toml to start from.", show_default=False)] = None,
) -> None:
    """Make a new book.

    Example: rillbook init my_study
    """
    from pipeline.commands import run

    try:
        text = settings.read_text(encoding="utf-8-sig") if settings is not None else None
    except (OSError, UnicodeDecodeError) as problem:
        raise RillbookError(f"the settings cannot be read ({problem}).", "Check the name.", str(settings)) from None
    path = run.init(folder, text)
    _say(f"Made {path}. Open it and fill in the title, the time zone and the taxa.")


@app.command()
def enter(
    port: Annotated[
        int | None, typer.Option("--port", min=1024, max=65535, help="Port on this computer.", show_default="one that is free")
    ] = None,
    book: Book = Path(),
) -> None:
    """Serve the form on this computer alone: it checks while you type and loads the visit into the book.

    Example: rillbook enter --book my_study
    """
    from pipeline.commands.enter import serve

    serve(book, port, _say)


@app.command()
def sheets(book: Book = Path(), json: Json = False) -> None:
    """Write what to record on: the form for phone and computer, a page to print, and a workbook, made from the schemas and the book.

    Example: rillbook sheets --book my_study
    """
    from pipeline.commands import run

    files = run.write_sheets(book)
    if json:
        _json([str(path) for path in files])
        return
    _say("Wrote " + ", ".join(str(path) for path in files) + ".")
    _say("The form and the workbook know your sites, and a filled sheet holds exact places: keep them to yourself.")


@app.command()
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

    with _progress() as progress:
        report = run.check_files(book, files, map, progress=progress, mark=mark)
    _show(report, json, "Checked. Nothing was loaded." if mark else "Checked. Nothing was written.")
    raise typer.Exit(report.exit_code)


@app.command()
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
        with _progress() as progress:
            show = None if json else lambda changes: _show_changes(changes.changed, changes.vanished, err=False)
            report = run.load_files(book, files, map, replace=replace, corrects=corrects, progress=progress, show=show)
    except run.WouldReplaceError as problem:
        if json:
            _json({"error": str(problem), "would_change": problem.changes.changed, "would_vanish": problem.changes.vanished})
        else:
            _show_changes(problem.changes.changed, problem.changes.vanished, err=True)
        raise
    _show(report, json, f"Stored as load {report.load_id}." if report.load_id else "Nothing was stored.")
    raise typer.Exit(report.exit_code)


@app.command()
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
        _json(_plain(offers))
        return
    photos = offers.drop_duplicates("photo")
    _say(f"{len(photos)} photos, {photos['latitude'].notna().sum()} with a place, {(photos['find_id'] != '').sum()} that may show a find.")
    _say(f"Wrote {path}. It holds exact places: keep it to yourself, and take the place out of a photo before you share it.")


def _show_changes(changed: list[str], vanished: list[str], err: bool) -> None:
    for words, rows in (("Would change", changed), ("Would vanish", vanished)):
        if rows:
            _say(f"{words}:", err=err)
            for row in rows:
                _say(f"  {row}", err=err)


def _show(report: Report | LoggerReport, as_json: bool, last: str) -> None:
    if as_json:
        _json(report.as_dict())
        return
    from pipeline.commands.load_loggers import LoggerReport

    if isinstance(report, LoggerReport):
        _show_loggers(report, last)
        return
    if report.account is not None:
        rows, cells = report.account.rows, report.account.cells
        _say(
            f"{sum(rows.values())} rows: {rows['accepted']} accepted, "
            f"{rows['accepted_with_held']} accepted with a value or part held back, "
            f"{rows['held']} held back, {rows['repeat']} repeats, {rows['no_find']} that say nothing was found."
        )
        if cells:
            _say("Cells: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in cells.items()) + ".")
        for table, counts in report.account.tables.items():
            if any(counts.values()):
                _say(f"  {table}: {counts['accepted']} accepted, {counts['held']} held back, {counts['same']} as in the book")
    _show_reasons("Held back", report.held)
    _show_reasons("Marked, kept", report.flags)
    if report.load_id is None and report.changes is not None:
        _show_changes(report.changes.changed, report.changes.vanished, err=False)
    for note in report.notes:
        _say(note)
    if len(report.held):
        _say("To repair: `rillbook held --csv held.csv`, fill in corrected or dismiss_reason and by, then `rillbook load held.csv`.")
    _say(last)


def _show_loggers(report: LoggerReport, last: str) -> None:
    """One line a file, then what is held back and marked, by rule."""
    for one in report.files:
        rows = ", ".join(f"{n} {fate}" for fate, n in one.rows.items() if n)
        _say(f"{one.file}: logger {one.logger_id}; {rows}")
        _say(f"  dates {one.found['dates']}, clock {one.found['clock']}, UTC {one.found['offset']}, {one.found['unit']}")
    for title, reasons in (("Held back", report.held), ("Marked, kept", report.flags)):
        if len(reasons):
            _say(f"\n{title}:")
        for rule, rows in reasons.groupby("rule", sort=False) if len(reasons) else ():
            _say(f"  {len(rows)} × {rule}")
            _say(f"    What to do: {rows['remedy'].iloc[0]}")
            for row in rows.head(SHOWN).to_dict("records"):
                since = f", {row['from_at']:%Y-%m-%d %H:%M} UTC" if "from_at" in row and row["from_at"] == row["from_at"] else ""
                times = f", {row['n']} times" if "text" in row and row["n"] > 1 else ""
                line = f", line {row['line']}" if row["line"] else ""
                _say(f"    {row['file']}{line}{since}: {row['message']}{times}")
            if len(rows) > SHOWN:
                _say(f"    … and {len(rows) - SHOWN} more; `--json` lists all")
    for note in report.notes:
        _say(note)
    if len(report.held):
        _say("What is held back of a logger's file is not stored; mend the map or the file, undo this load and load it again.")
    _say(last)


def _show_reasons(title: str, reasons: Any) -> None:
    """Group reasons that need the same answer; name the first places of each."""
    if reasons.empty:
        return
    _say(f"\n{title}:")
    for (table, name, rule), rows in reasons.groupby(["table", "field", "rule"], sort=False):
        first = rows.iloc[0]
        alike = rows["message"].nunique() == 1
        _say(f"  {table}{'.' + name if name else ''}: {len(rows)} × {rule}{': ' + first['message'] if alike else ''}")
        _say(f"    What to do: {first['remedy']}")
        for row in rows.head(SHOWN).to_dict("records"):
            text = row.get("text", row.get("value", ""))
            said = f" {text!r}" if name and text else ""
            place = f"{row['file']}{', sheet ' + row['sheet'] if row['sheet'] else ''}, line {row['line']}"
            _say(f"    {place}, {row['row_key']}{said}{'' if alike else ': ' + row['message']}")
        if len(rows) > SHOWN:
            _say(f"    … and {len(rows) - SHOWN} more; `--json` lists all")


@app.command()
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
        number = run.write_held(book, csv)
        if json:
            _json({"file": str(csv), "items": number})
            return
        _say(f"Wrote {number} items to {csv}. Fill in corrected or dismiss_reason, and by; then `rillbook load {csv}`.")
        return
    items = run.held_items(book)
    if json:
        _json(_rows(items))
        return
    for row in items.itertuples():
        _say(
            f"{row.item}: {row.file}, line {row.line}, {row.table} {row.row}{' ' + row.field if row.field else ''} {row.text!r}: "
            f"{row.message} {row.remedy}"
        )
    _say(f"{len(items)} items." if len(items) else "Nothing is held back.")


def _rows(frame: Any) -> list[dict[str, Any]]:
    return json.loads(frame.to_json(orient="records", force_ascii=False, date_format="iso"))  # type: ignore[no-any-return]


@app.command()
def status(book: Book = Path(), json: Json = False) -> None:
    """Say what the book holds.

    Example: rillbook status
    """
    from pipeline.commands import run

    found = run.status(book)
    if json:
        _json(found)
        return
    _say(found["title"] or "(no title)")
    if not found["loads"]:
        _say("Nothing is loaded yet. Load a sheet with `rillbook load FILE`.")
        return
    for one in found["loads"]:
        state = "" if one["stands"] else " (undone)" if one["undone_at"] else " (corrected by a later load)"
        files = _text_list(one["files"])
        named = ", ".join(files[:SHOWN]) + (f" and {len(files) - SHOWN} more" if len(files) > SHOWN else "")
        _say(f"  {one['kind']} {one['load_id']}, {one['loaded_at'][:16]} UTC: {named}{state}")
    _say(", ".join(f"{n} {table}" for table, n in found["tables"].items()))
    of_loggers = found["logger_files"]
    if of_loggers["readings"]:
        _say(f"{of_loggers['readings']} readings of {of_loggers['loggers_with_readings']} loggers, {of_loggers['held']} held back")
        for rule, number in of_loggers["flags"].items():
            _say(f"  marked {rule}: {number}")
    _say(f"{found['visits_without_finds']} visits without finds, {found['visits_incomplete']} whose finds were held back or not counted")
    if found["absences"] or found["absences_not_stated"]:
        _say(f"{found['absences']} absences stated, {sum(found['absences_not_stated'].values())} not stated for want of a count")
    _say(f"{found['held']} items held back or waiting for a decision")
    for rule, number in found["flags"].items():
        _say(f"  marked {rule}: {number}")


def _text_list(text: str) -> list[str]:
    return json.loads(text)  # type: ignore[no-any-return]


@app.command()
def undo(load: Annotated[int, typer.Argument(help="Number of the load.", show_default=False)], book: Book = Path()) -> None:
    """Take a load back; what it replaced is current again.

    Example: rillbook undo 3
    """
    from pipeline.commands import run

    run.undo(book, load)
    _say(f"Load {load} is undone. The text of its rows stays in the book.")


@app.command()
def targets(
    accept_warmer: Annotated[
        str, typer.Option("--accept-warmer", help="Taxon whose values may be warmer than an earlier publication.", show_default=False)
    ] = "",
    by: Annotated[str, typer.Option("--by", help="Your name, with --accept-warmer.", show_default=False)] = "",
    reason: Annotated[str, typer.Option("--reason", help="Why, with --accept-warmer.", show_default=False)] = "",
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Derive the targets and write them with a card and a care sheet for each taxon.

    Example: rillbook targets
    """
    from pipeline.commands import run

    with _progress() as progress:
        derived = run.derive_targets(book, accept=accept_warmer, by=by, reason=reason, progress=progress)
        progress("writing cards and care sheets")
        files = [*run.write_cards(book, derived), *run.write_care_sheets(book, derived)]
    if json:
        _json(_rows(derived.targets))
        return
    _show_targets(derived.targets)
    if derived.facts["method_note"]:
        _say(derived.facts["method_note"])
    for row in derived.kept.itertuples():
        _say(
            f"{row.taxon} {row.life_stage} {row.medium} {row.month}: {row.quantity} is kept at {row.kept:g} °C; these records alone "
            "would say "
            f"{row.derived:g} °C, and more visits said less. --accept-warmer takes it, with a name and a reason."
        )
    _say("Wrote " + ", ".join(str(path) for path in [*files, book / "out" / "targets.csv", book / "out" / "targets.json"]))


def _show_targets(frame: Any) -> None:
    """One line a stage and medium: how many months have a target, the ceiling and the floor."""
    for (taxon, population, stage, medium), rows in frame.groupby(["taxon", "population", "life_stage", "medium"], sort=False):
        months = rows[~rows["month"].isin(["warm", "cold"])]
        made = int((months["status"] != Status.REFUSED).sum())
        first = rows.iloc[0]
        ceiling = f"ceiling {first['ceiling']:g} °C ({first['ceiling_bound_by']})" if first["ceiling"] == first["ceiling"] else "no ceiling"
        floor = f"floor {first['floor']:g} °C" if first["floor"] == first["floor"] else "no field floor"
        _say(f"{taxon} {population + ' ' if population else ''}{stage} {medium}: {made} of 12 months, {ceiling}, {floor}")


@app.command(name="map")
def map_command(
    lines: Annotated[
        Path | None,
        typer.Option("--lines", help="Streams or boundaries to draw on the maps: GeoPackage or GeoJSON.", show_default=False),
    ] = None,
    tiles: Annotated[
        str | None,
        typer.Option(
            "--tiles",
            help="https address of background tiles, with {z}, {x} and {y}; off until a reader switches it on, because whoever runs it "
            "then sees where one looks.",
            show_default=False,
        ),
    ] = None,
    book: Book = Path(),
) -> None:
    """Write the public map and the exact one that stays private, each as a page and as a still picture (SVG and PNG).

    Example: rillbook map --lines streams.gpkg
    """
    from pipeline.commands import run

    with _progress() as progress:
        public, private = run.write_maps(book, lines, tiles, progress)
    _say(f"Wrote {public} to share, and {private} for you alone: it shows exact places. Beside each lie the pictures, SVG and PNG.")


@app.command()
def gaps(book: Book = Path(), json: Json = False) -> None:
    """List what evidence is missing and what would help most; plan the next visits. The plan names sites and is private.

    Example: rillbook gaps --book my_study
    """
    from pipeline.commands import run

    with _progress() as progress:
        written = run.write_gaps(book, progress=progress)
    if json:
        _json({name: _plain(frame) for name, frame in written.tables.items()})
        return
    months = written.tables["gaps_months"]
    _say(f"{len(written.tables['gaps'])} cells could have a better grade.")
    for row in months.head(SHOWN).itertuples():
        of = f" of {row.population}" if row.population else ""
        _say(f"  {row.next}: {row.trips} days of search{of} may raise {row.cells_raised} cells")
    for row in written.tables["gaps_absence"].itertuples():
        known = row.visits_to_absence == row.visits_to_absence
        how = (
            f"{row.visits_to_absence:.0f} visits state absence (detection {row.detection:.2f}, {row.basis})"
            if known
            else f"not known: {row.why}"
        )
        _say(f"  {row.taxon}: {how}")
    _say_written(written)


@app.command()
def permit(
    code: Annotated[str, typer.Argument(help="Permit, as rillbook.toml names it; all of them if not given.", show_default=False)] = "",
    year: Annotated[int | None, typer.Option("--year", help="Report this year alone.", show_default="all years of the permit")] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write the report for a permit office: captures against the limits, or that there was no activity. It is private.

    Example: rillbook permit INVENTED-1 --year 2024 --book my_first_book
    """
    from pipeline.commands import run

    with _progress() as progress:
        written = run.write_permits(book, code, year, progress)
    if json:
        _json({name: _plain(frame) for name, frame in written.tables.items()})
        return
    for name, frame in written.tables.items():
        for row in frame.itertuples() if name.endswith("_limits") else ():
            _say(f"{row.permit} {row.year}, taxon {row.taxon}, county {row.county}: {row.words}")
    _say_written(written)


@app.command()
def landowner(
    code: Annotated[str, typer.Argument(help="Parcel, as rillbook.toml names it; all of them if not given.", show_default=False)] = "",
    site: Annotated[
        list[str] | None, typer.Option("--site", help="A site of the parcel; say it again for each.", show_default=False)
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Write a page for the owner of a parcel: what lives there, the water, what helps; nothing of other land. It is private.

    Example: rillbook landowner A --book my_first_book
    """
    from pipeline.commands import run

    with _progress() as progress:
        written = run.write_landowner(book, code, tuple(site or ()), progress)
    if json:
        _json({name: _plain(frame) for name, frame in written.tables.items()})
        return
    _say_written(written)


def _say_written(written: Any) -> None:
    for note in written.notes:
        _say(note)
    _say("Wrote " + ", ".join(str(path) for path in written.files) + ".")
    if any(path.parent.name == "private" for path in written.files):
        _say("What lies in the folder private shows exact places: it goes to nobody but the one it is for.")


@app.command()
def quality(
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="A Darwin Core archive or table, or sheets made for rillbook; the book's own rows if not given.", show_default=False
        ),
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Hold rows against the data-quality tests of TDWG: the book's own, as they would be published, or a file. Nothing is changed.

    Example: rillbook quality their_archive.zip --book my_study
    """
    from pipeline.commands import run

    with _progress() as progress:
        progress("running the tests")
        written = run.write_quality(book, files or [])
    if json:
        _json({name: _plain(frame) for name, frame in written.tables.items()})
        return
    tests = written.tables["summary"]
    _say(f"{len(written.tables['records'])} rows, {len(tests)} tests.")
    for row in tests[tests["not_compliant"] > 0].sort_values("not_compliant", ascending=False, kind="stable").itertuples():
        mended = f"; {row.not_compliant_after} if every proposal were taken" if row.not_compliant_after < row.not_compliant else ""
        _say(f"  {row.test}: {row.not_compliant} rows fail{mended}")
    _say_written(written)


@app.command()
def publish(book: Book = Path(), json: Json = False) -> None:
    """Write what may be shared, at a precision that protects the sites: a Darwin Core Archive, a Data Package, GeoPackage and GeoJSON.

    Example: rillbook publish --book my_study
    """
    from pipeline.commands import run

    with _progress() as progress:
        done = run.publish(book, progress=progress)
    private = done.withheld
    if json:
        _json({"rows": done.rows, "withheld": private.counts, "coarser": private.coarser, "files": [str(path) for path in done.files]})
        return
    _say("To share: " + ", ".join(f"{n} {table}" for table, n in done.rows.items()) + ".")
    _say("Left out, which is for you alone to know:")
    for what, number in private.counts.items():
        _say(f"  {number} {what}")
    if private.coarser:
        _say(f"Shown in finer squares before, which nobody can take back: {', '.join(private.coarser)}.")
    _say(f"Wrote {', '.join(str(path) for path in done.files)}.")
    _say("Keep published.json with the book, and share it with nobody: it remembers in which squares each site was shown.")


@app.command()
def compare(
    first: Annotated[str, typer.Argument(help="One population, as the sites name it.", show_default=False)],
    second: Annotated[str, typer.Argument(help="The other population.", show_default=False)],
    taxon: Annotated[str, typer.Option("--taxon", help="Taxon code.", show_default=False)],
    stage: Annotated[str, typer.Option("--stage", help="Life stage.")] = "larva",
    medium: Annotated[str, typer.Option("--medium", help="water, edge, land or surface.")] = "water",
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Compare the temperatures of two populations in the months and hours that both have.

    Example: rillbook compare N-high S-low --taxon EWIL --stage larva --medium water
    """
    from pipeline.commands import run

    found = run.compare_populations(book, first, second, taxon=taxon, life_stage=stage, medium=medium)
    if json:
        _json(found)
        return
    for sentence in found["words"]:
        _say(sentence)


@app.command()
def blend(
    target: Annotated[float, typer.Option("--target", help="What the tank's water should have.", show_default=False)],
    tap: Annotated[float, typer.Option("--tap", help="What the tap water has.", show_default=False)],
    ro: Annotated[float, typer.Option("--ro", help="What the reverse-osmosis water has.", show_default=False)],
    chlorine: Annotated[
        float | None, typer.Option("--chlorine", help="Chlorine of the tap water, mg/L, as tested.", show_default=False)
    ] = None,
    quantity: Annotated[str, typer.Option("--quantity", help="conductivity or hardness; never pH.")] = "conductivity",
    json: Json = False,
) -> None:
    """Say how much tap and reverse-osmosis water to mix, or why no figure is given.

    Example: rillbook blend --target 60 --tap 250 --ro 10 --chlorine 0
    """
    from pipeline.formulas.water import blend_advice

    advice = blend_advice(target, tap, ro, chlorine, quantity)
    if json:
        _json({"tap_fraction": advice.tap_fraction, "reason": advice.reason, "words": list(advice.words)})
    else:
        for sentence in advice.words:
            _say(sentence)
    raise typer.Exit(ALL_ACCEPTED if advice.tap_fraction is not None else 1)


@app.command()
def demo(folder: Annotated[Path, typer.Argument(help="New folder for the invented study.", show_default=False)]) -> None:
    """Run the whole path on an invented study.

    Example: rillbook demo my_first_book
    """
    from pipeline.commands import run

    with _progress() as progress:
        result = run.run_demo(folder, progress)
    rows = result.report.account.rows if result.report.account else {}
    _say("An invented study: no animal, place or person in it is real.")
    _say(f"{sum(rows.values())} rows read: " + ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in rows.items() if n) + ".")
    planted = result.faults[result.faults["expected"] != ""]
    met = planted[planted["expected"] == planted["met"]]
    _say(f"{len(met)} of {len(planted)} planted faults met their effect:")
    for effect, number in met.groupby("expected").size().items():
        _say(f"  {effect}: {number}")
    extra = result.faults[result.faults["expected"] == ""]
    _say(f"{len(extra)} faults that were not planted.")
    for row in result.faults[result.faults["expected"] != result.faults["met"]].itertuples():
        _say(f"  {row.table} {row.row_key} {row.rule}: expected {row.expected or 'nothing'}, met {row.met or 'nothing'}")
    _say("Look at:")
    for path in [folder / "out" / "targets.csv", *result.files]:
        _say(f"  {path}")
    raise typer.Exit(0 if result.as_planned else 1)
