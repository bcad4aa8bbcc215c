"""What a care sheet says of the evidence: counts, where the ceiling comes from, what is silent, and what a veterinarian will ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import pandas as pd

from pipeline.settings import DEFAULTS
from pipeline.targets.figures import n_visits
from pipeline.writing.site_counts import in_class, told_of_cell
from pipeline.writing.words import GRADES, Cell, Row, between, counted, figure, month_name, month_runs, number, plain, share_of
from schemas.enums import Status
from schemas.vocabulary import EGGS

OBSERVED = "observed only: this tells where they were found, not what they would choose"
HOURS = ((0, 6), (6, 12), (12, 18), (18, 24))
NOT_KNOWN = "Not known"
CELL = ("taxon", "population", "life_stage", "medium")


def evidence(key: Cell, rows: pd.DataFrame, read: pd.DataFrame, facts: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Label and text of every line of the evidence block."""
    if read.empty:
        return [("Readings", "none")]
    years = sorted(int(year) for year in read["year"].dropna().unique())
    timed = read["night"].dropna().astype(bool)
    untimed = len(read) - len(timed)
    night = f"{share_of(timed)} of the {len(timed)} with a clock time" if len(timed) else "not known: no clock times"
    visits = counted(n_visits(read), "visit")
    dates = counted(read["date"].nunique(), "date")
    sites = told_of_cell(rows, sites_told(key, read, facts))
    lines = [
        ("Readings", f"{counted(len(read), 'reading')} at {counted(read['n_animals'].sum(), 'animal')} (one animal counts once a day)"),
        ("From", f"{visits} on {dates} at {sites} in {counted(len(years), 'year')} ({', '.join(map(str, years)) or 'not noted'})"),
        ("Months read", month_runs(int(month) for month in read["month"].unique())),
        ("At night", night + (f"; {untimed} without" if untimed and len(timed) else "")),
        ("Read for the whole visit, not at the animal", share_of(read["from_visit"])),
        ("Medium assumed, not noted in the field", share_of(read["medium_assumed"])),
        ("Thermometers", _instruments(read["accuracy_c"])),
        ("Observed or selected", _basis(key, facts)),
    ]
    return lines + _ceiling_evidence(key, rows, facts)


def sites_told(key: Cell, read: pd.DataFrame, facts: Mapping[str, Any]) -> int:
    """How many sites of a cell are published; without word of it in the facts, all that were read."""
    return int(facts["sites_told"].get(key, 0) if "sites_told" in facts else read["site"].nunique())


def _instruments(accuracy: pd.Series) -> str:
    parts = [f"±{number(value)} °C for {counted(n, 'reading')}" for value, n in accuracy.dropna().value_counts().sort_index().items()]
    missing = int(accuracy.isna().sum())
    return "; ".join(parts + [f"accuracy not noted for {counted(missing, 'reading')}"] * bool(missing))


def _ceiling_evidence(key: Cell, rows: pd.DataFrame, facts: Mapping[str, Any]) -> list[tuple[str, str]]:
    bound = rows["p95_bound"].dropna()
    if rows["ceiling"].isna().all():
        return [("Ceiling", "none: no month and no season has enough readings")]
    if bound.empty:
        lines = [("Lower bound of the warm-season P95", "none: too few readings")]
    else:
        lines = [("Lower bound of the warm-season P95", f"{number(float(bound.iloc[0]), 1)} °C, before the allowances")]
    parts = facts["allowances"].get(key) or {}
    total = figure(rows["allowance"].max())
    if parts and bound.size:
        lines.append(("Allowances, taken off", "; ".join(f"{name} {number(float(value), 1)} °C" for name, value in parts.items() if value)))
    elif total is not None and bound.size:
        lines.append(("Allowances, taken off", f"{number(total, 1)} °C together"))
    bounds = rows.loc[rows["ceiling"].notna(), "ceiling_bound_by"].dropna()
    return lines + [("Ceiling set by", str(words)) for words in bounds[:1]]


def found(name: str, record: Row | None, values: tuple[float, ...]) -> Row | None:
    """One line of what was read: never what to keep."""
    if record is None or not figure(record["n_readings"]):
        return None
    label = {"warm": "Warm season", "cold": "Cold season"}.get(name) or month_name(name)
    ends, middle, span = (record["p05"], record["p95"]), record["p50"], ""
    if pd.isna(ends[0]) or pd.isna(ends[1]):
        ends, span = ((values[0], values[-1]), " (lowest to highest)") if values else ((None, None), "")
    low, high = figure(record["p50_low"]), figure(record["p50_high"])
    interval = "none: too few sites or dates" if low is None or high is None else between(low, high)
    return {
        "label": label,
        "counts": [
            int(figure(record["n_readings"]) or 0),
            int(figure(record["n_dates"]) or 0),
            in_class(record["n_sites"]).removesuffix(" sites"),
            int(figure(record["n_years"]) or 0),
        ],
        "span": "–" if ends[0] is None else between(ends[0], ends[1]) + span,
        "median": "–" if pd.isna(middle) else plain(middle),
        "interval": interval,
        "grade": GRADES.get(str(record["grade"])[:1], "D none"),
    }


def silent(read: pd.DataFrame, facts: Mapping[str, Any]) -> list[str]:
    """What the readings of a cell cannot tell, in words."""
    seen = {int(month) for month in read["month"].dropna().unique()}
    cold = [int(month) for month in facts.get("cold_months", DEFAULTS["cold_months"])]
    unread = [month for month in range(1, 13) if month not in seen]
    lines = []
    if seen and unread:
        lines.append(f"Nothing was read in {month_runs(unread)}.")
    if not seen & set(cold):
        lines.append("Winter is unknown.")
    timed = read["night"].dropna().astype(bool)
    if seen and not timed.any():
        lines.append("Night is unknown: no reading is known to have been taken between sunset and sunrise.")
    elif seen and timed.all() and len(timed) == len(read):
        lines.append("Day is unknown: every reading was taken between sunset and sunrise.")
    if len(years := read["year"].dropna().unique()) == 1:
        lines.append(f"All readings are from {int(years[0])}: this speaks of that year only.")
    if len(read) and read["from_visit"].all():
        lines.append("No reading was taken at an animal; all are the visit's.")
    return lines


def _basis(key: Cell, facts: Mapping[str, Any]) -> str:
    """By season whether the animals' places differ from what was to be had there."""
    rows = own_rows(facts.get("selection"), key)
    told = [_chosen(row) for row in rows.to_dict("records") if row["n_points"] or row["word"] == "selected"]
    return "; ".join(told) if told else f"{OBSERVED}; no reading was taken where no animal was"


def _chosen(row: Row) -> str:
    season = row["season"] if row["season"].endswith("months") else f"{row['season']} months"
    where = f"{counted(row['n_visits'], 'visit')} with both, {counted(row['n_points'], 'reading')} where no animal was"
    if row["word"] != "selected":
        return f"{season}: {OBSERVED} ({row['reason']}; {where})"
    return (
        f"{season}: selected, {number(abs(row['difference']), 1)} °C {row['side']} than what was to be had (95 % interval of the difference"
        f" {number(row['low'], 1)} to {number(row['high'], 1)} °C; {where})"
    )


@dataclass(frozen=True)
class ByCell:
    """A frame whose rows are asked for cell by cell: to look through it for each takes longer than all that a page does with them.

    Attributes
    ----------
    frame : DataFrame
        Columns taxon, population, life_stage and, for keys of four, medium.
    parts : int
        How many of these columns a key has.
    """

    frame: pd.DataFrame
    parts: int = len(CELL)

    @cached_property
    def _places(self) -> Mapping[Any, Any]:
        names = list(CELL[: self.parts])
        keys = self.frame[names].astype("object").where(self.frame[names].notna(), "")
        return keys.groupby(names, sort=False).indices

    def rows(self, key: tuple[str, ...]) -> pd.DataFrame:
        """Rows of a cell, in their order; where a part of the key is empty it is missing, or empty."""
        places = [] if self.frame.empty else self._places.get(key, [])
        # rows that lie together need not be copied
        together = len(places) and places[-1] - places[0] == len(places) - 1
        return self.frame.iloc[slice(places[0], places[-1] + 1) if together else places]

    @cached_property
    def _records(self) -> list[Row]:
        return self.frame.to_dict("records")

    def records(self, key: tuple[str, ...]) -> list[Row]:
        """The same rows, each as a dict."""
        return [] if self.frame.empty else [self._records[place] for place in self._places.get(key, [])]


def own_rows(frame: pd.DataFrame | ByCell | None, key: tuple[str, ...]) -> pd.DataFrame:
    """Rows of a frame that belong to a cell.

    Parameters
    ----------
    frame : DataFrame, ByCell or None
        Columns taxon, population, life_stage and, for a key of four, medium.
    key : tuple of str
        Taxon, population, stage, and medium or not.
    """
    if frame is None:
        return pd.DataFrame()
    return (frame if isinstance(frame, ByCell) else ByCell(frame, len(key))).rows(key)


def fates_of_months(months: list[Row]) -> list[tuple[str, str]]:
    """Borrowed and refused months of a cell, each with its reason."""
    borrowed = [f"{row['name']} ({row['why']})" for row in months if row["kind"] == Status.BORROWED]
    refused = [f"{row['name']} ({row['why']})" for row in months if row["kind"] == Status.REFUSED]
    return [("Borrowed months", "; ".join(borrowed) or "none"), ("Refused months", "; ".join(refused) or "none with readings")]


def answers(
    key: Cell, rows: pd.DataFrame, read: pd.DataFrame, facts: Mapping[str, Any], record: list[tuple[str, str]], loggers: str
) -> list[tuple[str, str]]:
    """The twelve questions of a sceptical veterinarian, answered from the data, "not known" where they do not tell.

    Parameters
    ----------
    key : tuple of str
        Taxon, population, stage, medium.
    rows : DataFrame
        Its targets.
    read : DataFrame
        Its readings; at least one.
    facts : mapping
        As for `pipeline.care.sheet.page`.
    record : list of tuple of str
        Its :func:`evidence`.
    loggers : str
        What loggers tell of it, in words.

    Returns
    -------
    list of tuple of str
        Question and answer.
    """
    told = dict(record)
    ceiling = [f"{label.lower()}: {text}" for label, text in record if label.startswith(("Lower bound", "Allowances", "Ceiling"))]
    return [
        ("How many?", f"{told['Readings']}; {told['From']}. {_by_season(read, facts)}. {_by_hour(read)}."),
        ("Which instrument?", f"{told['Thermometers']}. {_depths(read)} Dates of calibration: not known."),
        ("What was there to choose from?", f"{_capital(told['Observed or selected'])}."),
        ("What does a logger at the site say?", loggers),
        ("In what condition were they, and what became of them?", _condition(key, facts)),
        ("How do they fare in captivity at these values?", f"{NOT_KNOWN}: the book holds finds in the field only."),
        ("Which genetic population?", _population(key)),
        ("What is the warmest at which healthy ones were found, and for how long?", _warmest(read)),
        ("How uncertain is it?", _uncertainty(rows)),
        ("What is silent?", " ".join([*silent(read, facts), "Eggs: nothing here speaks of them."][: None if key[2] not in EGGS else -1])),
        ("Where does the ceiling come from?", f"{_capital('; '.join(ceiling))}."),
        ("Who signs, and when is it derived again?", _signed(facts)),
    ]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _by_season(read: pd.DataFrame, facts: Mapping[str, Any]) -> str:
    warm, cold = (read["month"].astype(int).isin(facts.get(name, DEFAULTS[name])) for name in ("warm_months", "cold_months"))
    return f"Warm months {int(warm.sum())}, cold months {int(cold.sum())}, others {int((~warm & ~cold).sum())} readings"


def _by_hour(read: pd.DataFrame) -> str:
    hour = read["hour"].dropna()
    parts = (f"{start} to {end} h {int(((hour >= start) & (hour < end)).sum())}" for start, end in HOURS)
    return f"By the clock: {', '.join(parts)}, no time noted {len(read) - len(hour)}"


def _depths(read: pd.DataFrame) -> str:
    depth = read["depth_cm"].dropna().astype(float)
    if depth.empty:
        return "Depth or height: not noted."
    low, high = number(float(depth.min())), number(float(depth.max()))
    span = low if low == high else f"{low} to {high}"
    return f"Depth {span} cm for {len(depth)} of {counted(len(read), 'reading')}, else not noted."


def _condition(key: Cell, facts: Mapping[str, Any]) -> str:
    left_out = facts["exclusions"]
    own = left_out[(left_out["taxon"] == key[0]) & (left_out["life_stage"] == key[2])]
    ill = own.loc[own["reason"].astype(str).str.contains("sick|dying|dead", case=False), "n_finds"].sum()
    return (
        f"{counted(ill, 'find')} of this stage noted as sick, dying or dead feed no figure. Of the others nothing but their presence is"
        " known: growth, breeding and disease are not."
    )


def _population(key: Cell) -> str:
    named = f"{key[1]}: a drainage and elevation band, or another group that the book names" if key[1] else "none is named in the book"
    return f"{named[:1].upper()}{named[1:]}. Genetics: not known."


def _warmest(read: pd.DataFrame) -> str:
    return f"Found at {plain(float(read['value'].max()))}, a moment's reading: whether it lasted an hour or a month is not known."


def _uncertainty(rows: pd.DataFrame) -> str:
    warm = rows[rows["month"].astype(str) == "warm"]
    low, high = (figure(warm[name].iloc[0]) if len(warm) else None for name in ("p50_low", "p50_high"))
    median = "none, too few sites or dates" if low is None or high is None else between(low, high)
    return (
        f"95 % interval of the warm-season median: {median}; by month in the table “Found at”. The ceiling rests on a lower bound, not on"
        " an interval, because no two-sided interval of a P95 can be trusted."
    )


def _signed(facts: Mapping[str, Any]) -> str:
    author = facts["author"] or f"{NOT_KNOWN}: the book names no author"
    return f"{author}. Derive again when new visits are loaded."
