"""The order of the steps for logger files: look at each, read it chunk by chunk, check it, compare it with the book, store it."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.loads import State, content_hash, loaded_as, start_load, state_of
from pipeline.book.standards import keep_to
from pipeline.errors import RillbookError
from pipeline.intake.logger_report import FileReport, LoggerReport
from pipeline.intake.settings_changed import settled
from pipeline.intake.stage_loggers import Found, read_into, set_aside
from pipeline.loggers import checks as logger_checks
from pipeline.loggers import export_rows, stretches
from pipeline.loggers import exports as logger_files
from pipeline.loggers import staging as logger_store
from pipeline.loggers.export_rows import FATES
from pipeline.loggers.exports import Layout
from pipeline.loggers.map import LoggerMap, is_logger_map, read_logger_map

TRIES = 3
"""How often files are read while others may write; after that the book is held while they are read."""
HELD_WORDS = {
    "unreadable": ("{text!r} is no {kind}.", "If it means that there is no value, list it under missing in a map."),
    "not_possible": ("{text} is not possible here.", "If it means that there is no value, list it under missing in a map."),
    "reading_differs": ("{text}", "What was there first is kept. Undo the load that is wrong, and load this file again."),
}
KINDS = {"temp_c": "temperature", "rh_pct": "humidity", "read_at": "date and time in the order of this file"}


def are_exports(paths: list[Path], map_path: Path | None) -> bool:
    """Whether the files are for this path: a map with a `[logger]` section says so, or every file looks like a logger's.

    Raises
    ------
    RillbookError
        Sheets and logger files stand together.
    """
    if map_path is not None:
        return is_logger_map(map_path)
    found = [logger_files.is_export(path) for path in paths]
    if any(found) and not all(found):
        export, sheet = paths[found.index(True)].name, paths[found.index(False)].name
        raise RillbookError(f"{export} looks like a logger's export and {sheet} does not.", "Load sheets first, then the logger files.")
    return bool(found) and all(found)


def load(
    folder: Path,
    paths: list[Path],
    map_path: Path | None = None,
    *,
    write: bool = True,
    corrects: int | None = None,
    today: date | None = None,
    progress: Callable[[str], None] = lambda step: None,
) -> LoggerReport:
    """Check logger files, and store them in one transaction.

    Parameters
    ----------
    folder : Path
        The book; its loggers must be known.
    paths : list of Path
        Logger exports.
    map_path : Path, optional
        Map with a `[logger]` section.
    write : bool
        Whether to store anything.
    corrects : int, optional
        Load that this one takes the place of.
    today : date, optional
        Readings more than a day after it lie in the future.
    progress : callable
        Told each step.

    Returns
    -------
    LoggerReport

    Raises
    ------
    RillbookError
        A file cannot be read in one way only, or its logger is not in the book; nothing was changed.
    """
    settings = settled(folder)
    known_map = read_logger_map(map_path) if map_path is not None else LoggerMap()
    looked_at = []
    for path in paths:
        progress(f"looking at {path.name}")
        looked_at.append(logger_files.inspect(path, known_map, today))
    content = content_hash([*(one.sha256 for one in looked_at), known_map.sha256])
    for tries in count(1):
        held = tries > TRIES
        with ExitStack() as stack:
            staged = stack.enter_context(set_aside(folder))
            if held:
                progress("reading once more, with the book held: others change it all the time")
                connection = stack.enter_context(open_book(folder, write=write))
                seen = _look(connection, content)
            else:
                with open_book(folder) as connection:
                    seen = _look(connection, content)
            if seen.before is not None and corrects is None:
                nothing = pd.DataFrame()
                return LoggerReport([], nothing, nothing, notes=[f"This was loaded before, as load {seen.before}. Nothing was changed."])
            # only now: what the book holds already may have been given a name that no logger has
            layouts = [export_rows.resolve(one, list(seen.known["logger_id"])) for one in looked_at]
            by_name = seen.known.set_index("logger_id")
            found = read_into(staged, layouts, by_name, settings.time_zone, progress, texts=write)
            if not held:
                # the book is held only from here on: others may read and write while long exports are read
                connection = stack.enter_context(open_book(folder, write=write))
                if state_of(connection) != seen.state:
                    progress("reading again: another command changed the book")
                    continue
            load_id = None
            if write:
                now = datetime.now(UTC).replace(tzinfo=None)
                keep_to(connection, settings)
                load_id = start_load(connection, "loggers", [path.name for path in paths], content, known_map.title, corrects, now)
            progress("comparing with the book")
            logger_store.take(connection, staged)
            report = _judge(connection, layouts, by_name, settings.time_zone, found)
            if load_id is not None:
                progress("storing")
                logger_store.store(connection, load_id, _file_rows(layouts, report), report.flags, report.held)
                summary = {"rows": report.rows, "cells": {}, "tables": {"logger_readings": {"accepted": report.rows.get("stored", 0)}}}
                connection.execute("UPDATE loads SET account = ? WHERE load_id = ?", [json.dumps(summary), load_id])
        return LoggerReport(report.files, report.held, report.flags, load_id, [*report.notes, *_without_reading(report)])
    raise AssertionError("counted to the end")


@dataclass(frozen=True)
class _Seen:
    """What the book held when it was looked at: its state, its loggers, and the load of the same content."""

    state: State
    known: pd.DataFrame
    before: int | None


def _look(connection: Any, content: str) -> _Seen:
    return _Seen(state_of(connection), logger_store.known_loggers(connection), loaded_as(connection, content))


def _without_reading(report: LoggerReport) -> list[str]:
    """Files in which no reading was found: a heading that holds a comma outside quote marks moves every column."""
    return [
        f"{one.file}: no reading was found in it. Look at its headings: one that holds a comma stands in quote marks. "
        "Mend them, or name the columns in a map."
        for one in report.files
        if not one.rows["stored"] and not one.rows["same"]
    ]


def _judge(connection: Any, layouts: list[Layout], known: pd.DataFrame, time_zone: str, found: list[Found]) -> LoggerReport:
    """Compare what was staged with the book, and put everything together."""
    held = [_held_row(number, key, n, one.first_line[key]) for number, one in enumerate(found) for key, n in one.held.items()]
    flags = [
        frame for number, one in enumerate(found) for frame in (one.flags.assign(source=number), _contradictions(layouts[number], number))
    ]
    judged = logger_store.judge(connection, [number for number, one in enumerate(found) if one.rising])
    held += _differing(judged)
    flags += [_overlap_flags(connection, layouts), *_exposed(connection, layouts, known, [one.days for one in found], time_zone)]
    return _report(layouts, [one.fates for one in found], [one.values for one in found], judged, flags, held)


def _contradictions(layout: Layout, number: int) -> pd.DataFrame:
    rows = [
        {
            "rule": rule,
            "field": "logger_id" if rule == "name_contradicts" else "read_at",
            "n": layout.readings,
            "message": message,
            "remedy": remedy,
            "line": 0,
        }
        for rule, message, remedy in layout.contradictions
    ]
    return pd.DataFrame(rows, columns=list(stretches.FLAG_COLUMNS)).assign(source=number)


def _held_row(number: int, key: tuple[str, str, str], n: int, line: int) -> dict[str, Any]:
    name, text, rule = key
    message, remedy = HELD_WORDS[rule]
    return {
        "source": number, "rule": rule, "field": name, "text": text, "n": n, "line": line, "remedy": remedy,
        "message": message.format(text=text, kind=KINDS[name]),
    }  # fmt: skip


def _differing(judged: pd.DataFrame) -> list[dict[str, Any]]:
    rows = []
    for row in judged[judged["fate"] == "differs"].itertuples():
        text = (
            f"{row.n} readings differ from those that are stored of the same instant; first {row.read_at}: "
            f"{_pair(row.temp_c, row.rh_pct)}, stored {_pair(row.other_c, row.other_pct)}."
        )
        rows.append(_held_row(row.source, ("temp_c", text, "reading_differs"), row.n, row.line))
    return rows


def _pair(temp: float, humid: float) -> str:
    return " and ".join(f"{value:g} {unit}" for value, unit in ((temp, "°C"), (humid, "%")) if value == value) or "nothing"


def _overlap_flags(connection: Any, layouts: list[Layout]) -> pd.DataFrame:
    found = logger_store.overlaps(connection)
    message = [
        f"{row.n} readings of logger {layouts[row.source].logger_id} from another file lie in the time of this one; "
        f"of {layouts[row.source].readings} readings here {row.same} are the same and {row.differs} differ."
        for row in found.itertuples()
    ]
    remedy = "Is it one export twice, or one of another logger, or read with the wrong offset?"
    return found.assign(rule="overlap", field="read_at", value=found["n"].astype("float64"), message=message, remedy=remedy, line=0)[
        [*stretches.FLAG_COLUMNS, "source"]
    ]


def _exposed(connection: Any, layouts: list[Layout], known: pd.DataFrame, days: list[pd.DataFrame], time_zone: str) -> list[pd.DataFrame]:
    """Water loggers beside the air logger of their site, where there is one."""
    found = []
    shift = logger_checks.standard_shift_us(time_zone)

    @cache
    def air_of(site_id: str) -> pd.DataFrame:
        return logger_store.air_days(connection, site_id, shift)

    for number, (layout, of_days) in enumerate(zip(layouts, days, strict=True)):
        here = known.loc[layout.logger_id]
        if here["medium"] == "water":
            air = air_of(here["site_id"]) if pd.notna(here["site_id"]) else None
            found.append(logger_checks.out_of_water(of_days, shift, air).assign(source=number))
    return found


def _report(
    layouts: list[Layout],
    fates: list[Counter[str]],
    values: list[Counter[str]],
    judged: pd.DataFrame,
    flags: list[pd.DataFrame],
    held: list[dict[str, Any]],
) -> LoggerReport:
    files = []
    for number, layout in enumerate(layouts):
        mine = judged[judged["source"] == number].set_index("fate")["n"]
        rows = {fate: int(fates[number][fate]) for fate in FATES if fate != "reading"}
        rows["held"] += int(mine.get("differs", 0))
        rows = {"stored": int(mine.get("stored", 0)), "same": int(mine.get("same", 0)), **rows}
        assert sum(rows.values()) == layout.rows, "a row has no fate"
        assert int(mine.sum()) == fates[number]["reading"], "a reading has no fate"
        files.append(
            FileReport(layout.path.name, layout.logger_id, layout.found, rows, {name: int(n) for name, n in values[number].items() if n})
        )
    some = [one for one in flags if len(one)]
    together = pd.concat(some, ignore_index=True) if some else pd.DataFrame(columns=[*stretches.FLAG_COLUMNS, "source"])
    held_frame = pd.DataFrame(held, columns=["source", "rule", "field", "text", "n", "message", "remedy", "line"])
    return LoggerReport(files, _with_names(held_frame, layouts), _with_names(together, layouts))


def _with_names(frame: pd.DataFrame, layouts: list[Layout]) -> pd.DataFrame:
    return frame.assign(
        logger_id=[layouts[one].logger_id for one in frame["source"]], file=[layouts[one].path.name for one in frame["source"]]
    )


def _file_rows(layouts: list[Layout], report: LoggerReport) -> pd.DataFrame:
    return pd.DataFrame([
        {
            "source": number, "logger_id": layout.logger_id, "file": layout.path.name, "sha256": layout.sha256, "serial": layout.serial,
            "step_s": layout.step_s, "found": logger_store.as_json(layout.found), "header": logger_store.as_json(layout.shape.headings),
            "account": logger_store.as_json({"rows": one.rows, "values": one.values}),
        }
        for number, (layout, one) in enumerate(zip(layouts, report.files, strict=True))
    ])  # fmt: skip
