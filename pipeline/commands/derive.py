"""From a book to its targets and care sheets: which steps derive what, in which order, and what is written."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import is_empty, open_book
from pipeline.book.current import known_rows
from pipeline.book.ledger import accept_warmer, add_to_ledger, read_ledger
from pipeline.care.evidence import own_rows
from pipeline.commands.target_files import Derived as Derived
from pipeline.commands.target_files import hidden_names, told_targets, write_targets
from pipeline.errors import RillbookError
from pipeline.intake.report import silent
from pipeline.publishing.public_book import public_title, withheld_sites
from pipeline.settings import Settings, read_settings
from pipeline.statistics.grades import least_allowed
from schemas.enums import Status
from schemas.vocabulary import EGGS

Group = tuple[str, str, str, str]
STAGE = ["taxon", "population", "life_stage"]
METHOD_NOTE = (
    "The method of the temperature lines changed since this book's last targets (docs/changelog.md): set point, band, act line and ceiling"
    " mean what docs/method.md now says, and the lines published before do not hold these down. Replace the pages that you gave away."
)
UNITS = {"deficit": "kPa", "rh_p25": "%"}
IN_WATER = ("water", "edge")


def refuse_empty(connection: Any, folder: Path) -> None:
    """Stop where nothing is loaded yet."""
    if is_empty(connection):
        raise RillbookError("nothing is loaded yet.", "Load a sheet with `rillbook load FILE`.", str(folder))


def derive_targets(folder: Path, *, accept: str = "", by: str = "", reason: str = "", progress: Callable[[str], None] = silent) -> Derived:
    """Derive the targets of a book, hold them to what was published, and write them down.

    Parameters
    ----------
    folder : Path
        The book.
    accept : str
        Taxon whose values a named person takes even where they are warmer than an earlier publication.
    by, reason : str
        Who, and why; required with `accept`.
    progress : callable
        Told each step.

    Returns
    -------
    Derived

    Raises
    ------
    RillbookError
        The book is empty, or a warmer value is accepted without name and reason.
    """
    from pipeline.settings.limits import judgement
    from pipeline.targets import derive, evidence, humidity, ledger, season, site_spans

    settings = read_settings(folder)
    if accept and accept not in set(settings.taxa["code"]):
        raise RillbookError(f"{accept!r} is not among the book's taxa.", f"Known: {', '.join(settings.taxa['code'])}.")
    if accept and not (by.strip() and reason.strip()):
        raise RillbookError("a warmer value is accepted by a named person with a reason.", "Add --by NAME and --reason TEXT.")
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        progress("reading the evidence")
        readings, exclusions = evidence.readings(connection, settings)
        before, accepted = read_ledger(connection)
        hashes = connection.execute("SELECT DISTINCT sha256 FROM source_files SEMI JOIN active USING (load_id) ORDER BY ALL").df()
        known = known_rows(connection)
        hidden = withheld_sites(folder, settings, known)
        spans = site_spans.site_spans(connection, hidden)
        more, damp = _further(connection, settings, readings, known)
        cycle, half_ranges = _daily_cycle(connection, settings, readings, known)
    progress("deriving")
    chosen = more["selection"][more["selection"]["word"] == "selected"]
    selected = frozenset(chosen[[*STAGE, "medium", "season"]].astype("str").itertuples(index=False, name=None))
    targets = derive.targets(readings, settings.taxa, settings, half_ranges=half_ranges, selected=selected)
    changed = ledger.method_changed(before)
    visits = ledger.visits_of_cells(readings, settings.taxa, settings)
    now = datetime.now(UTC).replace(tzinfo=None)
    air = ledger.air_visits(damp)
    kept_targets, open_part, kept = _held(targets, visits, more["humidity"], air, before, accepted)
    with open_book(folder, write=True) as connection:
        if accept:
            accept_warmer(connection, kept[kept["taxon"] == accept], by, reason, now)
            before, accepted = read_ledger(connection)
            kept_targets, open_part, kept = _held(targets, visits, more["humidity"], air, before, accepted)
        kept_targets = season.with_set_points(kept_targets, readings, settings)
        add_to_ledger(connection, ledger.to_publish(kept_targets, visits), now)
        add_to_ledger(connection, ledger.air_to_publish(open_part, air), now)
    more |= {"humidity": open_part, "humidity_by_temperature": humidity.humidity_table(open_part)}
    days = season.schedule(readings, kept_targets, settings)
    facts = {
        "title": public_title(settings, known), "invented": settings.invented, "author": settings.author, "licence": settings.licence,
        "seed": settings.seed,
        "time_zone": settings.time_zone, "method_version": ledger.METHOD_VERSION, "exclusions": exclusions,
        "allowances": derive.group_allowances(readings, settings.taxa, settings), "input_hash": evidence.input_hash(readings),
        "inputs": hashes["sha256"].tolist(), "warm_months": settings.warm_months, "cold_months": settings.cold_months,
        "cooling_c_per_hour": judgement("cooling_rate"),
        "site_spans": spans, "further": more, "hidden_sites": hidden_names(known["sites"], hidden), **cycle,
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
    derived = Derived(kept_targets, readings, facts, kept)
    write_targets(folder / "out", derived, files, settings)
    return derived


def _held(targets: pd.DataFrame, visits: Any, open_part: pd.DataFrame, air: Any, before: pd.DataFrame, accepted: pd.DataFrame) -> Any:
    """Targets and humidity held to what was published, and what was kept."""
    from pipeline.targets import ledger

    kept_targets, kept = ledger.hold_to_published(targets, visits, before, accepted)
    kept_air, kept_damp = ledger.hold_air(open_part, air, before, accepted)
    both = [frame for frame in (kept, kept_damp) if len(frame)]
    return kept_targets, kept_air, pd.concat(both, ignore_index=True) if both else kept


def _further(
    connection: Any, settings: Settings, readings: pd.DataFrame, known: dict[str, pd.DataFrame]
) -> tuple[dict[str, pd.DataFrame], pd.DataFrame]:
    """Humidity, water, selection and detection (method §7 and §8) by the name of their files, and the readings of the air."""
    from pipeline.targets import evidence, humidity, humidity_evidence, selection, water_evidence
    from pipeline.targets import water as water_targets

    damp, _ = humidity_evidence.humidity_readings(connection, settings)
    wet, left_out = water_evidence.water_readings(connection, settings)
    incomplete = connection.execute("SELECT visit_id, incomplete FROM visits").df()
    visits = known["visits"].drop(columns="incomplete", errors="ignore").merge(incomplete, on="visit_id")
    frames = {
        "humidity": humidity.humidity_targets(damp, settings.taxa, settings),
        "humidity_found": humidity.humidity_figures(damp),
        "wetness": humidity_evidence.wetness_noted(connection, settings),
        "water": water_targets.water_targets(wet, left_out, settings.taxa, settings),
        "selection": selection.selection(readings, evidence.availability(connection), settings),
        "detection": selection.detection_by_temperature(visits, known["finds"]),
    }
    return frames, damp


def _daily_cycle(
    connection: Any, settings: Settings, readings: pd.DataFrame, known: dict[str, pd.DataFrame]
) -> tuple[dict[str, Any], dict[Group, float]]:
    """What loggers at the sites tell of day and night, and the half-range that stands for each group (method §5 and §6)."""
    from pipeline.loggers import usable as logger_evidence
    from pipeline.settings.limits import judgement
    from pipeline.targets import daily_cycle, derive

    written, left_out = logger_evidence.usable_readings(connection)
    if written.empty:
        return {}, {}
    where = (written, known["loggers"], known["sites"], settings.time_zone)
    basis = derive.bound_readings(readings, settings.taxa, settings)
    by_months: dict[tuple[int, ...], pd.DataFrame] = {}
    half_ranges: dict[Group, float] = {}
    for key, rows in basis.items():
        months = tuple(sorted({int(month) for month in rows["month"]}))
        if months not in by_months:
            by_months[months] = daily_cycle.logger_half_range(*where, months)
        half = daily_cycle.half_range_for(rows, by_months[months])
        if half is not None:
            half_ranges[key] = half
    facts = {
        "night_drop": daily_cycle.night_drop(*where),
        "corrected": daily_cycle.corrected_readings(readings, *where),
        "logger_record": logger_evidence.record(*where, judgement("watch_line"), judgement("logger_gap_steps")),
        "logger_left_out": left_out,
    }
    return facts, half_ranges


def write_cards(folder: Path, derived: Derived) -> list[Path]:
    """Write the cards of each taxon that has a find; return their paths."""
    from pipeline.care import card

    frames, taxa, facts = _pages(folder, derived)
    return [path for code in taxa for path in card.write_cards(folder / "out", code, *frames, _facts_of(code, facts))]


def write_care_sheets(folder: Path, derived: Derived) -> list[Path]:
    """Write one care sheet a taxon that has a find, the evidence behind its cards; return the paths."""
    from pipeline.care import sheet

    frames, taxa, facts = _pages(folder, derived)
    return [sheet.write(folder / "out", code, *frames, _facts_of(code, facts)) for code in taxa]


def taxa_without_target(folder: Path, derived: Derived) -> list[str]:
    """Taxa that get pages and have no target in any month: their pages say why, and hold nothing to keep by."""
    made = set(derived.targets.loc[derived.targets["status"] != Status.REFUSED, "taxon"])
    return [code for code in _pages(folder, derived)[1] if code not in made]


def _pages(folder: Path, derived: Derived) -> tuple[tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame], list[str], dict[str, Any]]:
    """Frames, taxa in their order, and facts of the pages that a keeper prints."""
    settings = read_settings(folder)
    seen = set(derived.facts["exclusions"]["taxon"]) | set(derived.readings["taxon"])
    taxa = [code for code in settings.taxa["code"] if code in seen]
    frames = (told_targets(derived, settings), derived.readings, settings.taxa)
    return frames, taxa, {**derived.facts, "statements": dict(_statements(derived, settings))}


def _statements(derived: Derived, settings: Settings) -> Iterator[tuple[tuple[str, str, str], dict[str, list[dict[str, str]]]]]:
    """What a care sheet says of humidity and water, for each taxon, population and stage; never beyond a ceiling or floor of the page."""
    from pipeline.targets import humidity_words
    from pipeline.targets import water as water_targets

    more = derived.facts["further"]
    names = settings.taxa.set_index("code")["scientific_name"]
    frames = [derived.targets, more["humidity"], more["humidity_found"], more["water"]]
    keys = pd.concat([frame[STAGE].fillna("").astype("str") for frame in frames]).drop_duplicates()
    for taxon, population, stage in sorted(keys.itertuples(index=False, name=None)):
        limits, open_part, figures, wetness, water = (
            own_rows(frame, (taxon, population, stage))
            for frame in (derived.targets, more["humidity"], more["humidity_found"], more["wetness"], more["water"])
        )
        target = open_part.to_dict("records")[0] if len(open_part) else None
        ceiling, floor = float(limits["ceiling"].min()), _least(limits)
        damp = [] if stage in EGGS else humidity_words.humidity_rows(target, figures, wetness=wetness, ceiling=ceiling, floor=floor)
        met = len(water) or limits["medium"].isin(IN_WATER).any()
        yield (taxon, population, stage), {"humidity": damp, "water": water_targets.water_rows(water, names[taxon], stage) if met else []}


def _least(limits: pd.DataFrame) -> float:
    """Highest of the least temperatures that the cells of a stage allow, °C."""
    return max((least for _, rows in limits.groupby("medium") if not math.isnan(least := least_allowed(rows))), default=math.nan)


def _facts_of(taxon: str, facts: dict[str, Any]) -> dict[str, Any]:
    """What the sheet of one taxon states: notes of its own only."""
    own = [note for note in facts["notes"] if note.split(" ", 1)[0] == taxon]
    span = facts["site_spans"].get(taxon)
    return {**facts, "notes": [*([span] if span else []), *own]}
