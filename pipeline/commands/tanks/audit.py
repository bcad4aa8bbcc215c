"""From a book, or from targets that someone else published, to the audit of its enclosures."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands.derive import refuse_empty
from pipeline.commands.field_loggers import field_loggers
from pipeline.errors import RillbookError
from pipeline.intake.report import Progress, silent
from pipeline.intake.settings_changed import settled
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_text

if TYPE_CHECKING:
    from pipeline.tanks.audit import Audit

OUT = "tanks"


@dataclass(frozen=True)
class Audited:
    """Audits of the enclosures that were asked for, and the files that were written."""

    audits: list[Audit]
    files: list[Path]
    source: str
    notes: list[str]

    @property
    def all_inside(self) -> bool:
        """Every enclosure inside, all the time."""
        return all(audit.all_inside for audit in self.audits)


def audit(
    folder: Path, enclosure: str = "", *, targets: Path | None = None, since: str = "", until: str = "", now: datetime | None = None,
    reduced: Path | None = None, progress: Progress = silent,
) -> Audited:  # fmt: skip
    """Audit enclosures of a book and write their pages.

    Parameters
    ----------
    folder : Path
        The book.
    enclosure : str
        Its code; empty for every enclosure that is in use.
    targets : Path, optional
        A `targets.json`; the book's own where it is not given.
    since, until : str
        Local days or moments; see `pipeline.tanks.stretch.stretch_of`.
    now : datetime, optional
        UTC without zone; the clock's where it is not given.
    reduced : Path, optional
        Folder of readings of the field's loggers that were reduced elsewhere, for the night drop there; see `commands.field_loggers`. Not
        with targets of someone else.
    progress : callable
        Told each step.

    Returns
    -------
    Audited

    Raises
    ------
    RillbookError
        No such enclosure, no targets, a stretch that cannot be read, or reduced tables that cannot be used.
    """
    from pipeline.settings.limits import judgement
    from pipeline.tanks.audit import audit_enclosure
    from pipeline.tanks.growth import growth, sizes_by_month, wild_sizes
    from pipeline.tanks.stretch import stretch_of

    if reduced is not None and targets is not None:
        raise RillbookError("reduced readings are of the book's own field, the targets are someone else's.", "Leave one of the two out.")
    settings = settled(folder)
    stretch = stretch_of(
        since, until, pd.Timestamp(now or datetime.now(UTC).replace(tzinfo=None)), judgement("audit_days"), settings.time_zone
    )
    rows, document = read_targets(targets or folder / "out" / "targets.json", targets is None)
    taxa = settings.taxa.set_index("code")
    audits, files, grown, nights = [], [], [], []
    with open_book(folder) as connection:
        refuse_empty(connection, folder)
        enclosures = asked_enclosures(current_rows(connection, "enclosures"), enclosure, stretch.local(stretch.end))
        notes = _stale(connection, folder) if targets is None else []
        dry = _deficits(folder) if targets is None else {}
        field_nights, told = _field_nights(connection, settings, reduced) if targets is None else (None, [])
        notes += told
        for row in enclosures.to_dict("records"):
            progress(f"auditing {row['enclosure_id']}")
            key = (row["taxon"], row["population"] if pd.notna(row["population"]) else "", row["life_stage"])
            taxon = taxa.loc[row["taxon"]]
            wild = wild_sizes(connection, row["taxon"], key[1])
            audits.append(audit_enclosure(connection, row, rows, taxon, stretch, dry.get(key, float("nan"))))
            grown.append((growth(audits[-1].events, wild, row["life_stage"]), sizes_by_month(wild)))
            nights.append(_nights(connection, audits[-1], field_nights))
    source = _source(document, targets)
    invented = bool(document.get("invented") or settings.invented)
    for one, sizes, night in zip(audits, grown, nights, strict=True):
        files += _write(folder, one, settings, {"invented": invented, "source": source, "notes": notes, "grown": sizes, **night})
    return Audited(audits, files, source, notes)


def asked_enclosures(enclosures: pd.DataFrame, code: str, at: pd.Timestamp) -> pd.DataFrame:
    """The enclosure of that code, or every one in use at a local time; an error that names the known ones where there is none."""
    if code:
        mine = enclosures[enclosures["enclosure_id"] == code]
        if mine.empty:
            known = ", ".join(enclosures["enclosure_id"]) or "none"
            raise RillbookError(f"there is no enclosure {code!r} in the book.", f"Known: {known}.")
        return mine
    used = enclosures[enclosures["until"].isna() | (enclosures["until"] >= at.normalize())]
    if used.empty:
        raise RillbookError("no enclosure of the book is in use.", "Load a sheet of enclosures (docs/tanks.md).")
    return used


def read_targets(path: Path, own: bool) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Read a `targets.json`.

    Returns
    -------
    DataFrame
        Columns of ``schemas.frames.targets.TARGET_COLUMNS``.
    dict
        The document.

    Raises
    ------
    RillbookError
        The file is missing, or not what `rillbook targets` writes; a line stands above the one that bounds it.
    """
    from pandera.errors import SchemaError

    from schemas.frames.targets import COUNT_TARGET_COLUMNS, TARGET_COLUMNS, TEXT_TARGET_COLUMNS, check_targets

    remedy = "Run `rillbook targets` first." if own else "Ask for the file targets.json that `rillbook targets` wrote."
    try:
        document = json.loads(path.read_text(encoding="utf-8-sig"))
        frame = pd.DataFrame(document["targets"])[list(TARGET_COLUMNS)]
        texts = {name: "str" for name in TEXT_TARGET_COLUMNS}
        for name in TEXT_TARGET_COLUMNS:
            frame[name] = frame[name].fillna("")
        numbers = [name for name in TARGET_COLUMNS if name not in (*TEXT_TARGET_COLUMNS, *COUNT_TARGET_COLUMNS, "cut_by_ceiling")]
        frame = frame.astype({**texts, **dict.fromkeys(COUNT_TARGET_COLUMNS, "int64"), **dict.fromkeys(numbers, "float64")})
        return check_targets(frame.astype({"cut_by_ceiling": "bool"})), document
    except FileNotFoundError:
        raise RillbookError("there are no targets.", remedy, str(path)) from None
    except OSError as problem:
        raise RillbookError(f"the targets cannot be read ({problem.strerror}).", "Check the rights of the file.", str(path)) from None
    except (ValueError, KeyError, TypeError, AssertionError, SchemaError) as problem:
        first = (str(problem).splitlines() or [""])[0]
        raise RillbookError(f"this is not a file of targets ({first}).", remedy, str(path)) from None


def _stale(connection: Any, folder: Path) -> list[str]:
    """Whether records were loaded after the targets were written."""
    written = datetime.fromtimestamp((folder / "out" / "targets.json").stat().st_mtime, UTC).replace(tzinfo=None)
    evidence = " UNION ".join(f"SELECT load_id FROM {table}_all" for table in ("sites", "visits", "finds", "availability"))
    later = connection.execute(
        f"SELECT count(*) FROM loads SEMI JOIN active USING (load_id) SEMI JOIN ({evidence}) USING (load_id) WHERE loaded_at > ?", [written]
    )
    return ["Sheets were loaded after the targets were derived: run `rillbook targets`."] if later.fetchall()[0][0] else []


def _deficits(folder: Path) -> dict[tuple[str, str, str], float]:
    """Deficit that the open part may have, kPa, by taxon, population and stage, as `rillbook targets` wrote it."""
    path = folder / "out" / "humidity.csv"
    if not path.exists():
        return {}
    frame = pd.read_csv(path, dtype={"population": "str"}, keep_default_na=True)
    return {
        (row.taxon, row.population if isinstance(row.population, str) else "", row.life_stage): float(row.deficit)
        for row in frame.itertuples()
        if row.deficit == row.deficit
    }


def _field_nights(connection: Any, settings: Settings, reduced: Path | None) -> tuple[pd.DataFrame, list[str]]:
    """Night drop where loggers hung at sites, as `targets.daily_cycle.night_drop`, and what a person should know of it."""
    from pipeline.targets.daily_cycle import night_drop

    known = {name: current_rows(connection, name) for name in ("loggers", "sites")}
    field = field_loggers(connection, settings, known, reduced, ("nights",))
    if field is None:
        return pd.DataFrame(columns=["site", "medium", "month", "night_drop", "n_days"]), []
    return night_drop(field.tables["nights"], known["loggers"], known["sites"]), field.notes


def _nights(connection: Any, one: Audit, field: pd.DataFrame | None) -> dict[str, Any]:
    """Night drop of each sensor beside the field's: by month the median of the places where the taxon, and its population, was found."""
    from pipeline.tanks.night import NO_LOGGER, NOT_SAID, beside_field

    if field is None:
        return {"night": {each.logger_id: beside_field(each.night, None) for each in one.sensors}, "no_field_night": NOT_SAID}
    own = one.enclosure["population"]
    places = connection.execute(
        """SELECT DISTINCT CASE WHEN coalesce(s.waterbody, '') <> '' THEN s.waterbody ELSE s.site_id END
        FROM sites s JOIN current_visits v USING (site_id) JOIN finds f USING (visit_id)
        WHERE f.taxon = ? AND (? = '' OR s.population = ?)""",
        [one.enclosure["taxon"], *[own if isinstance(own, str) else ""] * 2],
    ).fetchall()
    mine = field[field["site"].isin([place for (place,) in places])]
    shown = {}
    for each in one.sensors:
        of_medium = mine[mine["medium"] == each.medium].groupby("month")
        by_month = of_medium.agg(night_drop=("night_drop", "median"), n_days=("n_days", "sum")).reset_index()
        shown[each.logger_id] = beside_field(each.night, by_month)
    known = any(frame["field_drop"].notna().any() for frame in shown.values())
    return {"night": shown, "no_field_night": "" if known else NO_LOGGER}


def _source(document: dict[str, Any], path: Path | None) -> str:
    study = document.get("study") or "a study without a title"
    whose = f"the file {path.name}" if path is not None else "this book"
    return f"{study}, from {whose}, method {document.get('method_version', 'not said')}"


def slug(code: str) -> str:
    """A code as part of a file's name."""
    return re.sub(r"[^A-Za-z0-9-]+", "-", code).strip("-") or "unnamed"


def _write(folder: Path, one: Audit, settings: Settings, about: dict[str, Any]) -> list[Path]:
    from pipeline.tanks.due import due_at
    from pipeline.tanks.figures import day_table, spell_table
    from pipeline.tanks.pages.beside import write_beside_page
    from pipeline.tanks.pages.calendar import due_calendar
    from pipeline.tanks.pages.page import write_audit_page

    out, code = folder / "out" / OUT, slug(str(one.enclosure["enclosure_id"]))
    name = settings.taxa.set_index("code").at[one.enclosure["taxon"], "scientific_name"]
    today = one.stretch.local(one.stretch.end - pd.Timedelta(microseconds=1)).date()
    came = one.enclosure["since"]
    due = due_at(one.events, one.tests, settings.intervals, None if pd.isna(came) else came.date(), today)
    files = [
        write_audit_page(out / f"audit_{code}.html", one, name, about, due),
        write_beside_page(out / f"beside_{code}.html", one, name, about, due),
    ]
    tables = {"days": day_table(one), "spells": spell_table(one), "water": one.water, "growth": about["grown"][0]}
    nights = [frame.assign(logger_id=logger) for logger, frame in about["night"].items()]
    tables |= {"night": pd.concat(nights, ignore_index=True) if nights else pd.DataFrame()}
    more: dict[Path, str | bytes | None] = {
        out / f"due_{code}.ics": due_calendar(str(one.enclosure["enclosure_id"]), due, datetime.now(UTC)),
        **{out / f"audit_{code}_{what}.csv": csv_text(frame) for what, frame in tables.items()},
    }
    return [*files, *write_files(more, "the tables")]


def as_document(one: Audit) -> dict[str, Any]:
    """An audit as JSON can hold it; times in UTC."""
    from pipeline.tanks.figures import sensor_figures, spell_table

    def rows(frame: pd.DataFrame) -> Any:
        return json.loads(frame.to_json(orient="records", date_format="iso", force_ascii=False))

    sensors = [
        {
            "logger_id": sensor.logger_id, "medium": sensor.medium, "judged": sensor.judged,
            "state": None if sensor.verdict is None else sensor.verdict.state,
            "last": None if sensor.last is None else {"read_at": f"{sensor.last[0].isoformat()}Z", "temp_c": sensor.last[1]},
            "figures": rows(pd.DataFrame([sensor_figures(sensor, one.stretch)]))[0], "used": sensor.used,
        }
        for sensor in one.sensors
    ]  # fmt: skip
    return {
        "enclosure_id": one.enclosure["enclosure_id"], "taxon": one.enclosure["taxon"], "life_stage": one.stage,
        "from": f"{one.stretch.start.isoformat()}Z", "to": f"{one.stretch.end.isoformat()}Z", "state": one.state,
        "since": None if one.since is None else f"{one.since.isoformat()}Z", "all_inside": one.all_inside, "sentence": one.sentence,
        "sensors": sensors, "spells": rows(spell_table(one)), "water": rows(one.water),
        "humidity": [
            {"logger_id": damp.logger_id, "bound_kpa": damp.bound_kpa, "hours": damp.hours, "hours_above": damp.hours_above}
            for damp in one.damp
        ],
    }  # fmt: skip
