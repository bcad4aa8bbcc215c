"""From the schedule that `rillbook targets` wrote to a plan of the year for one enclosure, as CSV and as a calendar."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime
from pathlib import Path

import pandas as pd

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands.reports.report_files import Written
from pipeline.commands.tanks.audit import OUT, asked_enclosures, read_targets, slug
from pipeline.errors import RillbookError
from pipeline.intake.settings_changed import settled
from pipeline.settings import Settings
from pipeline.writing.files import write_files
from pipeline.writing.spreadsheet import csv_text


def write_year_plan(folder: Path, enclosure: str, year: int | None = None, today: date | None = None) -> Written:
    """Write set points by week, with day length, for one enclosure.

    Parameters
    ----------
    folder : Path
        The book.
    enclosure : str
        Its code.
    year : int, optional
        The present one where it is not given.
    today : date, optional
        Day whose stage counts.

    Returns
    -------
    Written

    Raises
    ------
    RillbookError
        No such enclosure, no medium, no targets, or the field tells no set point.
    """
    from pipeline.tanks.day_lines import lines_of_days
    from pipeline.tanks.pages.calendar import plan_calendar
    from pipeline.tanks.stretch import Stretch, local_days, stages
    from pipeline.tanks.year_plan import year_plan

    settings, day = settled(folder), pd.Timestamp(today or datetime.now().date())
    rows, _ = read_targets(folder / "out" / "targets.json", True)
    path = folder / "out" / "schedule.csv"
    if not path.exists():
        raise RillbookError("there is no schedule.", "Run `rillbook targets` first.", str(path))
    weeks = pd.read_csv(path, dtype={"population": "str"}).fillna({"population": ""})
    with open_book(folder) as connection:
        (here,) = asked_enclosures(current_rows(connection, "enclosures"), enclosure, day).to_dict("records")
        events = connection.execute("SELECT * FROM husbandry_events WHERE enclosure_id = ?", [enclosure]).df()
    latitude = shown_latitude(folder, settings, here["taxon"])
    if not isinstance(here["medium"], str) or not here["medium"]:
        raise RillbookError(f"enclosure {enclosure} has no medium.", "Fill in medium in its sheet and load it with --replace.")
    whole = Stretch(day, day + pd.Timedelta(days=365), "UTC")
    days = local_days(whole)
    stage = stages(here["life_stage"], events[events["event_date"] <= day], days)
    lines, used = lines_of_days(days, stage, rows, here, here["medium"], settings.taxa.set_index("code").loc[here["taxon"]])
    plan = year_plan(weeks, float(lines["ceiling"].min()), here, stage.iloc[0], year or day.year, latitude)
    if plan["set_point_c"].isna().all():
        raise RillbookError(
            f"the field tells no set point for {here['taxon']} {stage.iloc[0]} in {here['medium']}.", "Hold what the card says by month."
        )
    out, code = folder / "out" / OUT, slug(enclosure)
    made: dict[Path, str | bytes | None] = {
        out / f"schedule_{code}.csv": csv_text(plan),
        out / f"schedule_{code}.ics": plan_calendar(enclosure, plan, datetime.now(UTC)),
    }
    files = write_files(made, "the plan")
    where = f"Day length at latitude {abs(latitude):.0f}° {'N' if latitude >= 0 else 'S'}, the mean of the grid squares that may be shown."
    if math.isnan(latitude):
        where = "No place of this taxon may be shown, so the day length is left out."
    lamp = "A guide for lamps; common practice, no source: lights on for 8 to 9 hours."
    return Written(files, {"schedule": plan}, [*used, f"The ceiling has the last word. {where} {lamp}"])


def shown_latitude(folder: Path, settings: Settings, taxon: str) -> float:
    """Mean latitude of the grid squares in which a taxon may be shown, whole degrees: the plan is no more than the public map says.

    Parameters
    ----------
    folder : Path
        The book.
    settings : Settings
    taxon : str
        Its code.

    Returns
    -------
    float
        Degrees; nan where no square may be shown. Withheld sites and finds, and exact places, have no part in it.
    """
    from pipeline.publishing.public_book import public_book

    shown = public_book(folder, settings).tables
    found = shown["finds"].loc[shown["finds"]["taxon"] == taxon, "event_id"]
    visits = shown["visits"]
    squares = visits[visits["event_id"].isin(found)].drop_duplicates(["latitude", "longitude", "grid_step_deg"])
    return math.nan if squares.empty else float(round(squares["latitude"].mean()))
