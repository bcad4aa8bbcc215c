"""From a book to its targets and care sheets: which steps derive what, in which order, and what is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import is_empty, open_book
from pipeline.book.current import hold_visits, known_rows
from pipeline.book.ledger import accept_warmer, add_to_ledger, read_ledger
from pipeline.commands.field_loggers import FieldLoggers, field_loggers
from pipeline.commands.target_files import STAGE, write_targets
from pipeline.commands.target_files import Derived as Derived
from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.intake.settings_changed import settled
from pipeline.publishing.public_book import NAMES, public_title, withheld_sites
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.site_counts import coarse_sites, told_sites
from schemas.enums import Status

Group = tuple[str, str, str, str]
METHOD_NOTE = (
    "The method of the temperature lines changed since this book's last targets (docs/changelog.md): set point, band, act line and ceiling"
    " mean what docs/method.md now says, and the lines published before do not hold these down. Replace the pages that you gave away."
)
UNITS = {"deficit": "kPa", "rh_p25": "%"}
COUNTED = ("humidity", "humidity_found", "water", "selection")
"""Tables that count sites: whole for the keeper alone, and as others may know them."""

KNOWN = {
    "visits": ("visit_id", "site_id", "visit_date", "water_temp_c", "target_taxa", *NAMES["visits"]),
    "finds": ("visit_id", "taxon", "microhabitat", *NAMES["finds"]),
    "availability": ("visit_id", "microhabitat"),
}
"""Fields that are asked for in rows of the book where it has most of them; the readings are chosen in the database."""


def refuse_empty(connection: Any, folder: Path) -> None:
    """Stop where nothing is loaded yet."""
    if is_empty(connection):
        raise RillbookError("nothing is loaded yet.", "Load a sheet with `rillbook load FILE`.", str(folder))


def derive_targets(
    folder: Path,
    *,
    accept: str = "",
    by: str = "",
    reason: str = "",
    write_pages: bool = False,
    reduced: Path | None = None,
    progress: Callable[[str], None] = silent,
) -> Derived:
    """Derive the targets of a book, hold them to what was published, and write them down.

    Parameters
    ----------
    folder : Path
        The book.
    accept : str
        Taxon whose values a named person takes even where they are warmer than an earlier publication.
    by, reason : str
        Who, and why; required with `accept`.
    write_pages : bool
        Whether the cards and care sheets are put in their place together with the tables, as one set of files.
    reduced : Path, optional
        Folder of readings of loggers that were reduced elsewhere; see `field_loggers`.
    progress : callable
        Told each step.

    Returns
    -------
    Derived

    Raises
    ------
    RillbookError
        The reduced tables cannot be used, the book is empty, or a warmer value is accepted without name and reason.
    """
    from pipeline.settings.limits import judgement
    from pipeline.targets import derive, evidence, humidity, ledger, season, selection, site_spans

    settings = settled(folder)
    if accept and accept not in set(settings.taxa["code"]):
        raise RillbookError(f"{accept!r} is not among the book's taxa.", f"Known: {', '.join(settings.taxa['code'])}.")
    if accept and not (by.strip() and reason.strip()):
        raise RillbookError("a warmer value is accepted by a named person with a reason.", "Add --by NAME and --reason TEXT.")
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        progress("reading the evidence")
        before, accepted = read_ledger(connection)
        hashes = connection.execute("SELECT DISTINCT sha256 FROM source_files SEMI JOIN active USING (load_id) ORDER BY ALL").df()
        hold_visits(connection)
        known = known_rows(connection, wanted=KNOWN)
        hidden, latitudes = withheld_sites(folder, settings, known)
        # before the readings take their memory
        spans = site_spans.site_spans(connection, hidden, latitudes)
        open_readings, readings, exclusions = evidence.readings_told(connection, settings, hidden)
        (whole, damp), (told, open_damp) = _described(connection, settings, readings, open_readings, hidden)
        field = field_loggers(connection, settings, known, reduced)
        cycle, half_ranges = _daily_cycle(field, settings, readings, known)
    progress("deriving")
    chosen = told["selection"][told["selection"]["word"] == "selected"]
    selected = frozenset(chosen[[*STAGE, "medium", "season"]].astype("str").itertuples(index=False, name=None))
    targets = derive.targets(readings, settings.taxa, settings, half_ranges=half_ranges, selected=selected)
    changed = ledger.method_changed(before)
    visits = ledger.visits_of_cells(readings, settings.taxa, settings)
    now = datetime.now(UTC).replace(tzinfo=None)
    air = ledger.air_visits(damp)
    limits = humidity.humidity_targets(damp, settings.taxa, settings)
    kept_targets, open_part, kept = _held(targets, visits, limits, air, before, accepted)
    warmer = kept[kept["taxon"] == accept] if accept else kept.iloc[:0]
    if len(warmer):
        # taken back at the end: only to see what is held without what the person takes
        with open_book(folder, trial=True) as connection:
            accept_warmer(connection, warmer, by, reason, now)
            kept_targets, open_part, kept = _held(targets, visits, limits, air, *read_ledger(connection))
    days = season.schedule(readings, kept_targets, settings)
    kept_targets = season.with_set_points(kept_targets, days)
    more = {
        "humidity": told_sites(open_part, humidity.sites_read(open_damp, open_part)),
        **{name: told_sites(frame, frame.get("n_sites")) for name, frame in told.items()},
        "detection": coarse_sites(selection.detection_by_temperature(*_open_rows(known, hidden))),
        "humidity_by_temperature": humidity.humidity_table(open_part),
    }
    whole["humidity"] = open_part
    facts = {
        "title": public_title(settings, known), "invented": settings.invented, "author": settings.author, "licence": settings.licence,
        "seed": settings.seed,
        "time_zone": settings.time_zone, "method_version": ledger.METHOD_VERSION, "exclusions": exclusions,
        "allowances": derive.group_allowances(readings, settings.taxa, settings), "input_hash": evidence.input_hash(readings),
        "inputs": [*hashes["sha256"], *([field.digest] if field is not None and field.digest else [])],
        "logger_notes": [] if field is None else field.notes, "warm_months": settings.warm_months, "cold_months": settings.cold_months,
        "cooling_c_per_hour": judgement("cooling_rate"),
        "site_spans": spans, "further": more, "whole": {name: whole[name] for name in COUNTED},
        "open_readings": open_readings, "sites_told": open_readings.groupby([*STAGE, "medium"])["site"].nunique().to_dict(), **cycle,
        "schedule": days, "schedule_weeks": season.by_week(days), "schedule_months": season.by_month(days),
        "selection": more["selection"], "detection": more["detection"],
        "method_note": METHOD_NOTE if changed else "",
        "notes": [
            f"{row.taxon} {row.life_stage} {row.medium}{'' if row.month == row.medium else f' {row.month}'}: {row.quantity} kept at"
            f" {row.kept:g} {UNITS.get(row.quantity, '°C')}"
            for row in kept.itertuples()
        ],
    }  # fmt: skip
    files = {"schedule": facts["schedule_weeks"], **{name: frame for name, frame in more.items() if name != "wetness"}}
    derived = Derived(kept_targets, readings, facts, kept, settings)
    pages: dict[Path, str] = {}
    if write_pages:
        progress("drawing cards and care sheets")
        pages = {**cards_of(folder, derived), **care_sheets_of(folder, derived)}
    with open_book(folder, write=True) as connection:
        accept_warmer(connection, warmer, by, reason, now)
        add_to_ledger(connection, ledger.to_publish(kept_targets, visits), now)
        add_to_ledger(connection, ledger.air_to_publish(open_part, air), now)
        # the ledger is written for good only when the tables and the pages are in their place
        write_targets(folder / "out", derived, files, pages)
    return replace(derived, pages=tuple(pages))


def _held(targets: pd.DataFrame, visits: Any, open_part: pd.DataFrame, air: Any, before: pd.DataFrame, accepted: pd.DataFrame) -> Any:
    """Targets and humidity held to what was published, and what was kept."""
    from pipeline.targets import ledger

    kept_targets, kept = ledger.hold_to_published(targets, visits, before, accepted)
    kept_air, kept_damp = ledger.hold_air(open_part, air, before, accepted)
    both = [frame for frame in (kept, kept_damp) if len(frame)]
    return kept_targets, kept_air, pd.concat(both, ignore_index=True) if both else kept


def _described(
    connection: Any, settings: Settings, readings: pd.DataFrame, open_readings: pd.DataFrame, hidden: frozenset[str]
) -> tuple[tuple[dict[str, pd.DataFrame], pd.DataFrame], ...]:
    """What was found of humidity, water and choice (method §7 and §8), by the name of its file, and the readings of the air.

    First of all sites, then without those that are withheld.
    """
    from pipeline.targets import evidence, humidity, humidity_evidence, selection, water_evidence
    from pipeline.targets import water as water_targets
    from pipeline.targets.usable_finds import not_at

    air, dry = humidity_evidence.judged(connection, settings)
    in_water, beside = water_evidence.found_in_water(connection), evidence.availability(connection)
    parts = []
    for read, left_out in [(readings, frozenset[str]())] + [(open_readings, hidden)] * bool(hidden):
        damp, _ = humidity_evidence.once_each(not_at(air, left_out), dry)
        wet, unused = water_evidence.by_day(not_at(in_water, left_out))
        frames = {
            "humidity_found": humidity.humidity_figures(damp),
            "wetness": humidity_evidence.wetness_told(connection, left_out),
            "water": water_targets.water_targets(wet, unused, settings.taxa, settings),
            "selection": selection.selection(read, not_at(beside, left_out), settings),
        }
        parts.append((frames, damp))
    return parts[0], parts[-1]


def _open_rows(known: dict[str, pd.DataFrame], hidden: frozenset[str]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Visits to sites that may be told of, and all finds. Detection is counted by site, and no target rests on it."""
    visits = known["visits"]
    return visits[~visits["site_id"].isin(hidden)], known["finds"]


def _daily_cycle(
    field: FieldLoggers | None, settings: Settings, readings: pd.DataFrame, known: dict[str, pd.DataFrame]
) -> tuple[dict[str, Any], dict[Group, float]]:
    """What loggers at the sites tell of day and night, and the half-range that stands for each group (method §5 and §6)."""
    from pipeline.settings.limits import judgement
    from pipeline.targets import daily_cycle, derive

    if field is None:
        return {}, {}
    daily, nights, excursions = (field.tables[name] for name in ("daily", "nights", "excursions"))
    where = (known["loggers"], known["sites"])
    basis = derive.bound_readings(readings, settings.taxa, settings)
    by_months: dict[tuple[int, ...], pd.DataFrame] = {}
    half_ranges: dict[Group, float] = {}
    for key, rows in basis.items():
        months = tuple(sorted({int(month) for month in rows["month"]}))
        if months not in by_months:
            by_months[months] = daily_cycle.logger_half_range(daily, *where, months)
        half = daily_cycle.half_range_for(rows, by_months[months])
        if half is not None:
            half_ranges[key] = half
    facts = {
        "night_drop": daily_cycle.night_drop(nights, *where),
        "corrected": daily_cycle.corrected_readings(readings, daily, *where, settings.time_zone, field.around),
        "logger_record": daily_cycle.logger_record(daily, excursions, *where, judgement("watch_line")),
        "logger_left_out": field.left_out,
    }
    return facts, half_ranges


def write_cards(folder: Path, derived: Derived) -> list[Path]:
    """Write the cards of each taxon that has a find; return their paths."""
    return write_files(cards_of(folder, derived), "the cards")


def write_care_sheets(folder: Path, derived: Derived) -> list[Path]:
    """Write one care sheet a taxon that has a find, the evidence behind its cards; return the paths."""
    return write_files(care_sheets_of(folder, derived), "the care sheets")


def cards_of(folder: Path, derived: Derived) -> dict[Path, str]:
    """The cards of each taxon that has a find, by the path at which each is to lie."""
    from pipeline.care import card

    parts = [card.cards(folder / "out", code, *_frames(derived), _facts_of(code, derived)) for code in _taxa(derived)]
    return {path: text for part in parts for path, text in part.items()}


def care_sheets_of(folder: Path, derived: Derived) -> dict[Path, str]:
    """One care sheet a taxon that has a find, by the path at which each is to lie."""
    from pipeline.care import sheet

    return {sheet.path_of(folder / "out", code): sheet.page(code, *_frames(derived), _facts_of(code, derived)) for code in _taxa(derived)}


def taxa_without_target(derived: Derived) -> list[str]:
    """Taxa that get pages and have no target in any month: their pages say why, and hold nothing to keep by."""
    made = set(derived.targets.loc[derived.targets["status"] != Status.REFUSED, "taxon"])
    return [code for code in _taxa(derived) if code not in made]


def _taxa(derived: Derived) -> list[str]:
    """Taxa that get pages, in the order of the book."""
    seen = set(derived.facts["exclusions"]["taxon"]) | set(derived.readings["taxon"])
    return [code for code in derived.settings.taxa["code"] if code in seen]


def _frames(derived: Derived) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Targets as they are told, the readings, and the taxa."""
    return derived.told, derived.readings, derived.settings.taxa


def _facts_of(taxon: str, derived: Derived) -> dict[str, Any]:
    """What the pages of one taxon state: notes of its own only."""
    facts = derived.facts
    own = [note for note in facts["notes"] if note.split(" ", 1)[0] == taxon]
    span = facts["site_spans"].get(taxon)
    return {
        **facts,
        **derived.by_cell,
        "statements": derived.statements,
        "card_tables": derived.card_tables,
        "notes": [*([span] if span else []), *own],
    }
