"""Commands for the keeper: readings of loggers reduced, targets, a comparison of populations, a blend of waters."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from pipeline.cli.options import Book, Json, Reduced
from pipeline.cli.printing import ALL_ACCEPTED, print_json, rows_of, say, told_progress
from schemas.enums import Status

if TYPE_CHECKING:
    pass


def summaries(
    folder: Annotated[Path, typer.Argument(help="New folder for the tables.", show_default=False)],
    readings: Annotated[
        str,
        typer.Option(
            "--readings",
            help="Folder of Parquet files with logger_id, read_at (UTC) and temp_c (°C), or with --engine postgresql the name of such a "
            "table; the book's own readings if not given.",
            show_default=False,
        ),
    ] = "",
    engine: Annotated[str, typer.Option("--engine", help="What reduces them: duckdb, spark or postgresql.")] = "duckdb",
    line: Annotated[
        list[float] | None, typer.Option("--line", help="Time the stretches above this, °C; again for more lines.", show_default="18")
    ] = None,
    leave_out: Annotated[
        Path | None,
        typer.Option("--leave-out", help="CSV with stretches in doubt: logger_id, from_at, to_at (UTC).", show_default=False),
    ] = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Reduce readings of loggers to hours, days, excursions and nights, and write them as Parquet, a folder a year.

    Example: rillbook summaries reduced --readings all_readings
    """
    from pipeline.commands import run

    with told_progress() as progress:
        done = run.write_summaries(book, folder, readings, engine, tuple(line or ()), leave_out, progress)
    if json:
        print_json(done.about)
        return
    fates = done.about["readings"]
    lost = ", ".join(f"{n} {name.replace('_', ' ')}" for name, n in fates.items() if n and name not in ("rows", "counted"))
    say(f"{fates['rows']} readings of {done.about['loggers']} loggers: {fates['counted']} count{f'; {lost}' if lost else ''}.")
    for note in done.notes:
        say(note)
    say(f"Wrote {', '.join(str(folder / name) for name in done.tables)} and {folder / 'summaries.json'}.")


def targets(
    accept_warmer: Annotated[
        str, typer.Option("--accept-warmer", help="Taxon whose values may be warmer than an earlier publication.", show_default=False)
    ] = "",
    by: Annotated[str, typer.Option("--by", help="Your name, with --accept-warmer.", show_default=False)] = "",
    reason: Annotated[str, typer.Option("--reason", help="Why, with --accept-warmer.", show_default=False)] = "",
    reduced: Reduced = None,
    book: Book = Path(),
    json: Json = False,
) -> None:
    """Derive the targets and write them with a card and a care sheet for each taxon.

    Example: rillbook targets
    """
    from pipeline.commands import run

    with told_progress() as progress:
        derived = run.derive_targets(book, accept=accept_warmer, by=by, reason=reason, write_pages=True, reduced=reduced, progress=progress)
    if json:
        print_json(rows_of(derived.targets))
        return
    _show_targets(derived.targets)
    for note in [derived.facts["method_note"], *derived.facts["logger_notes"]]:
        if note:
            say(note)
    for row in derived.kept.itertuples():
        say(
            f"{row.taxon} {row.life_stage} {row.medium} {row.month}: {row.quantity} is kept at {row.kept:g} °C; these records alone "
            "would say "
            f"{row.derived:g} °C, and more visits said less. --accept-warmer takes it, with a name and a reason."
        )
    if bare := run.taxa_without_target(derived):
        say(f"No target at all: {', '.join(bare)}. The pages are written, and say why; they hold no temperature to keep by.")
    say("Wrote " + ", ".join(str(path) for path in [*derived.pages, book / "out" / "targets.csv", book / "out" / "targets.json"]))


def _show_targets(frame: Any) -> None:
    """One line a stage and medium: how many months have a target, the ceiling and the floor."""
    for (taxon, population, stage, medium), rows in frame.groupby(["taxon", "population", "life_stage", "medium"], sort=False):
        months = rows[~rows["month"].isin(["warm", "cold"])]
        made = int((months["status"] != Status.REFUSED).sum())
        first = rows.iloc[0]
        ceiling = f"ceiling {first['ceiling']:g} °C ({first['ceiling_bound_by']})" if first["ceiling"] == first["ceiling"] else "no ceiling"
        floor = f"floor {first['floor']:g} °C" if first["floor"] == first["floor"] else "no field floor"
        say(f"{taxon} {population + ' ' if population else ''}{stage} {medium}: {made} of 12 months, {ceiling}, {floor}")


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
        print_json(found)
        return
    for sentence in found["words"]:
        say(sentence)


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
    from pipeline.formulas.blending import blend_advice

    advice = blend_advice(target, tap, ro, chlorine, quantity)
    if json:
        print_json({"tap_fraction": advice.tap_fraction, "reason": advice.reason, "words": list(advice.words)})
    else:
        for sentence in advice.words:
            say(sentence)
    raise typer.Exit(ALL_ACCEPTED if advice.tap_fraction is not None else 1)
