"""Does the bound keep its promise? Campaigns drawn from real daily stream temperatures, through the tool's own functions (method §9).

Run with ``PYTHONPATH=. python tests/benchmarks/validate_bound.py OPEN_DATA [--campaigns 1000] [--write]``; OPEN_DATA holds
``stream_temp_daily`` (water temperatures of three agencies, stated MIT, USGS 2014). It prints the tables of docs/method.md
and docs/validation.md, and with
``--write`` puts them there. Group cap and CTmax play no part: a program that always says 22.0 °C would pass a test of the final ceiling.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import tempfile
import time
import zlib
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from pipeline.commands import run
from pipeline.settings import FILE_NAME, Settings, parse_settings
from pipeline.targets.derive import WarmSeason, warm_season

SEED = 20260601
WARM = (6, 7, 8, 9)
TAXON, STAGE = "TAXON", "larva"
# A group without a cap, and no flag on warm water: what is validated is the bound and nothing else.
BOOK = """
[book]
title = "Campaigns drawn from logger series"
invented = true
time_zone = "America/New_York"
seed = {seed}
[[taxon]]
code = "TAXON"
scientific_name = "Desmognathus fuscus"
group = "other"
"""
SETTINGS = parse_settings(BOOK.format(seed=0), "validation")
# 138 streams keep this many days of June to September, as in the calibration; fewer say little of a season.
DAYS_LEAST, SITES_LEAST = 60, 20
FILES = 5
# Water does not freeze hard: below this a logger hung in the air.
COLDEST_WATER = -0.5
# Invented: the series are daily means. Half-range and hour are those of the method's day shift.
HALF_RANGE, PEAK_HOUR = 1.5, 16
# cos(2π·(22 − 16)/24) = 0: at 22:00 water stands at the day's mean, so these readings have no day shift.
MEAN_HOUR = 22.0
# So good a thermometer that its allowance hides no other fault.
ACCURACY = 0.05
Pool = dict[str, tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Design:
    """How a campaign is drawn: so many sites, so many days at each."""

    name: str
    sites: int
    days: int
    one_year: bool = False
    trips: bool = False
    all_run: bool = False
    even_years: bool = False
    months: tuple[int, ...] = WARM
    hours: tuple[float, float] | None = None
    reads_warm: float = 0.0
    warm_half: bool = False

    @property
    def size(self) -> str:
        """Sites × days, as it stands in the tables."""
        return f"{self.sites} × {self.days}"


INDEPENDENT, TRIPS = "independent days", "trips shared by all sites, one year"
ALL_RUN = "the same, only days on which every logger ran"
EVEN = "the same, each year with the same chance"
FLAWS: dict[str, dict[str, Any]] = {
    "July and August only": {"months": (7, 8)},
    "10:00–16:00 only": {"hours": (10.0, 16.0)},
    "July and August, 10:00–16:00 only": {"months": (7, 8), "hours": (10.0, 16.0)},
    "independent days of one year": {"one_year": True},
    "thermometer 0.5 °C warm": {"reads_warm": 0.5},
}
WARM_HALF = "warmer half of the sites only"
SIZES = ((3, 4), (5, 6), (8, 6), (12, 6), (20, 6))


def designs() -> list[Design]:
    """All designs of the tables."""
    rows = [Design(INDEPENDENT, *size) for size in SIZES]
    rows += [Design(TRIPS, *size, one_year=True, trips=True) for size in SIZES]
    rows += [Design(EVEN, *size, one_year=True, trips=True, even_years=True) for size in SIZES[2:]]
    rows += [Design(ALL_RUN, *size, one_year=True, trips=True, all_run=True) for size in SIZES[2:]]
    rows += [Design(name, *size, **flaw) for name, flaw in FLAWS.items() for size in SIZES[2:]]
    return rows + [Design(WARM_HALF, *size, warm_half=True) for size in SIZES[2:]]


def read_series(open_data: Path) -> pd.DataFrame:
    """Daily water temperatures of June to September, of streams with enough days.

    Parameters
    ----------
    open_data : Path
        Folder that holds ``stream_temp_daily``.

    Returns
    -------
    DataFrame
        Columns ``site``, ``date``, ``year``, ``month``, ``value`` (°C).
    """
    files = sorted((open_data / "stream_temp_daily").glob("*_daily.csv"))
    frame = pd.concat([pd.read_csv(file, usecols=["site", "date", "temp"], parse_dates=["date"]) for file in files], ignore_index=True)
    frame = frame.rename(columns={"temp": "value"}).assign(year=frame["date"].dt.year, month=frame["date"].dt.month)
    frame = frame[frame["month"].isin(WARM) & (frame["value"] > COLDEST_WATER)]
    return enough_days(frame)


def invented_series(sites: int = 30, seed: int = 5) -> pd.DataFrame:
    """Two summers of invented streams: sites differ, a season, and regional days that all sites share."""
    rng = np.random.default_rng(seed)
    dates = pd.DatetimeIndex([day for year in (2018, 2019) for day in pd.date_range(f"{year}-06-01", f"{year}-09-30")])
    regional = rng.normal(0, 1.7, len(dates))
    season = 15 + 2 * np.cos(2 * np.pi * (dates.day_of_year.to_numpy() - 210) / 365)
    parts = [
        pd.DataFrame({"site": f"s{site:02}", "date": dates, "value": season + regional + rng.normal(0, 1.5) + rng.normal(0, 1, len(dates))})
        for site in range(sites)
    ]
    frame = pd.concat(parts, ignore_index=True)
    return frame.assign(value=frame["value"].round(2), year=frame["date"].dt.year, month=frame["date"].dt.month)


def enough_days(frame: pd.DataFrame) -> pd.DataFrame:
    """Leave out sites with too few days."""
    return frame[frame.groupby("site")["value"].transform("size") >= DAYS_LEAST].sort_values(["site", "date"], ignore_index=True)


def truth(series: pd.DataFrame, probability: float) -> float:
    """Quantile over site-days: sites weigh the same, within a site its months, within a month its days.

    Written with pandas and numpy and without the tool's own weights, so that a fault of these cannot hide in both.
    """
    months = series.groupby("site")["month"].transform("nunique")
    days = series.groupby(["site", "month"])["value"].transform("size")
    return float(np.quantile(series["value"], probability, weights=1 / (months * days), method="inverted_cdf"))


def moments(series: pd.DataFrame) -> pd.DataFrame:
    """Every hour of every day: the invented cycle of the daytime designs added to the daily means."""
    hours = np.arange(24)
    cycle = HALF_RANGE * np.cos(2 * np.pi * (hours - PEAK_HOUR) / 24)
    every = series.loc[series.index.repeat(len(hours))].reset_index(drop=True)
    return every.assign(value=every["value"] + np.tile(cycle, len(series)))


def frames_to_draw_from(series: pd.DataFrame, design: Design) -> list[pd.DataFrame]:
    """The part of the series that a campaign of this design sees; with one year only, one part a year with enough sites."""
    if design.warm_half:
        means = series.groupby("site")["value"].mean()
        series = series[series["site"].isin(means.index[means > means.median()])]
    if not design.one_year:
        return [series]
    years = [enough_days(rows) for _, rows in series.groupby("year")]
    return [rows for rows in years if rows["site"].nunique() >= SITES_LEAST]


def as_pool(frame: pd.DataFrame, design: Design) -> Pool:
    """Dates and values of each site with enough days in the months of the design."""
    inside = frame[frame["month"].isin(design.months)]
    pool = {str(site): (rows["date"].to_numpy(), rows["value"].to_numpy()) for site, rows in inside.groupby("site")}
    return {site: days for site, days in pool.items() if len(days[0]) >= design.days}


def draw(pool: Pool, design: Design, rng: np.random.Generator) -> pd.DataFrame:
    """One campaign: columns ``site``, ``date``, ``hour``, ``value`` (°C)."""
    sites = rng.choice(sorted(pool), design.sites, replace=False)
    if design.trips:
        # A stream whose logger did not run on a trip's day is not seen on it. Trips on the days on which all ran would be another design:
        # loggers are hung out in June and taken in in September, so such days lie in July and August.
        days = rng.choice(_trip_days(pool, sites, design), design.days, replace=False)
        places = [np.flatnonzero(np.isin(pool[site][0], days)) for site in sites]
    else:
        places = [rng.choice(len(pool[site][0]), design.days, replace=False) for site in sites]
    frame = pd.DataFrame({
        "site": np.repeat(sites, [len(place) for place in places]),
        "date": np.concatenate([pool[site][0][place] for site, place in zip(sites, places, strict=True)]),
        "hour": MEAN_HOUR,
        "value": np.concatenate([pool[site][1][place] for site, place in zip(sites, places, strict=True)]) + design.reads_warm,
    })  # fmt: skip
    if design.hours:
        # Whole quarters of an hour: times are written so in the field, and pass through a file unchanged.
        frame["hour"] = rng.integers(round(design.hours[0] * 4), round(design.hours[1] * 4) + 1, len(frame)) / 4
        frame["value"] += HALF_RANGE * np.cos(2 * np.pi * (frame["hour"] - PEAK_HOUR) / 24)
    return frame


def _trip_days(pool: Pool, sites: np.ndarray, design: Design) -> np.ndarray:
    if design.all_run:
        return np.array(sorted(set.intersection(*(set(pool[site][0]) for site in sites))))
    return np.unique(np.concatenate([days for days, _ in pool.values()]))


def as_readings(campaign: pd.DataFrame, accuracy: float) -> pd.DataFrame:
    """A campaign in the shape of :class:`schemas.frames.targets.Readings`: one animal a visit, read where it was."""
    frame = campaign.assign(
        taxon=TAXON, population="", life_stage=STAGE, medium="water", month=campaign["date"].dt.month, year=campaign["date"].dt.year,
        visit_id=campaign["site"] + " " + campaign["date"].dt.strftime("%Y-%m-%d"), night=pd.array([pd.NA] * len(campaign), "boolean"),
        accuracy_c=accuracy, from_visit=False, medium_assumed=False, at_nest=False, depth_cm=np.nan, n_animals=1,
    )  # fmt: skip
    return frame.astype({"month": "Int64", "year": "Int64", "n_animals": "Int64", "date": "datetime64[us]"})


def accuracy_of(design: Design) -> float:
    """Accuracy that the sheet states: a thermometer that reads warm does so within it."""
    return max(ACCURACY, design.reads_warm)


def seeded(number: int) -> Settings:
    """Settings of the book of one campaign."""
    return dataclasses.replace(SETTINGS, seed=number)


def campaigns_of(series: pd.DataFrame, design: Design, numbers: Iterable[int]) -> Iterable[tuple[int, pd.DataFrame, pd.DataFrame]]:
    """Number, campaign, and the frame from which it was drawn; the same number gives the same campaign whatever else is drawn."""
    frames = frames_to_draw_from(series, design)
    pools = [as_pool(frame, design) for frame in frames]
    # A year stands for its streams: every stream-year is as likely, or a year in which few and warm streams were read would count like any.
    streams = np.array([1 if design.even_years else frame["site"].nunique() for frame in frames])
    chances = streams / streams.sum()
    for number in numbers:
        rng = np.random.default_rng([SEED, zlib.crc32(f"{design.name} {design.size}".encode()), number])
        which = int(rng.choice(len(frames), p=chances))
        yield number, draw(pools[which], design, rng), frames[which]


def derive_campaigns(series: pd.DataFrame, design: Design, numbers: Iterable[int]) -> pd.DataFrame:
    """Derive campaigns; one row each with the columns of ``WarmSeason`` and the truths of the frame that it was drawn from."""
    rows = []
    truths: dict[int, dict[str, float]] = {}
    for number, campaign, frame in campaigns_of(series, design, numbers):
        if id(frame) not in truths:
            truths[id(frame)] = {"own_p50": truth(frame, 0.5), "own_p95": truth(frame, 0.95)}
        found = warm_season(as_readings(campaign, accuracy_of(design)), seeded(number))
        rows.append({"number": number, **dataclasses.asdict(found), **truths[id(frame)]})
    return pd.DataFrame(rows)


def share(hits: pd.Series) -> tuple[float, float]:
    """Percentage and its binomial standard error; with none or all, that of one more campaign."""
    n, k = len(hits), int(hits.sum())
    p = min(max(k, 1), n - 1) / n
    return 100 * k / n, 100 * math.sqrt(p * (1 - p) / n)


def summary(rows: pd.DataFrame, design: Design, p95: float) -> dict[str, Any]:
    """What one design gave, in % and °C; too warm = above `p95`, that of all streams, all years, and with a daily cycle of all hours."""
    target = rows["p95_bound"] - rows["allowance"]
    told = rows[rows["p50_low"].notna()]
    covered = (told["p50_low"] <= told["own_p50"]) & (told["own_p50"] <= told["p50_high"])
    return {
        "design": design.name, "size": design.size, "campaigns": len(rows),
        "raw": share(rows["p95_bound"] > p95), "raw_short": float((p95 - rows["p95_bound"]).median()),
        "less": share(target > p95), "less_short": float((p95 - target).median()),
        "own": share(rows["p95_bound"] > rows["own_p95"]),
        "p50": share(covered) if len(told) > len(rows) / 2 else (math.nan, math.nan),
    }  # fmt: skip


def deletions(series: pd.DataFrame, design: Design, campaigns: int, times: int) -> pd.DataFrame:
    """Delete a quarter of the visits, so many times a campaign; columns ``number`` and ``change`` of the unrounded ceiling, °C."""
    rows = []
    for number, campaign, _ in campaigns_of(series, design, range(campaigns)):
        rng = np.random.default_rng([SEED, 1, zlib.crc32(f"{design.name} {design.size}".encode()), number])
        readings = as_readings(campaign, accuracy_of(design))
        before = ceiling_of(warm_season(readings, seeded(number)))
        for _ in range(times):
            kept = np.sort(rng.choice(len(readings), len(readings) - round(len(readings) / 4), replace=False))
            rows.append({"number": number, "change": ceiling_of(warm_season(readings.iloc[kept], seeded(number))) - before})
    return pd.DataFrame(rows)


def ceiling_of(found: WarmSeason) -> float:
    """Bound less allowances, not rounded, without cap and CTmax."""
    return found.p95_bound - found.allowance


def through_files(campaign: pd.DataFrame, accuracy: float, folder: Path, seed: int) -> WarmSeason:
    """The same campaign as sheets, loaded and derived as a person would; `folder` becomes a book."""
    readings = as_readings(campaign, accuracy)
    sheets = folder / "sheets"
    book = run.init(folder / "book", BOOK.format(seed=seed)).parent
    assert (book / FILE_NAME).exists()
    sheets.mkdir()
    clock = [f"{int(hour):02}:{round(hour % 1 * 60):02}" for hour in readings["hour"]]
    day = readings["date"].dt.strftime("%Y-%m-%d")
    tables = {
        "sites": pd.DataFrame({"site_id": sorted(set(readings["site"]))}).assign(habitat="stream"),
        "visits": readings[["visit_id", "site"]].rename(columns={"site": "site_id"}).assign(
            visit_date=day, start_time=clock, protocol="other", search_minutes=30, thermometer_accuracy_c=accuracy
        ),
        "finds": readings[["visit_id"]].assign(
            find_id=readings["visit_id"], found_at=clock, taxon=TAXON, id_certainty="certain", life_stage=STAGE, count=1,
            microhabitat="rock_in_flow", reading_place="at_animal", water_temp_c=readings["value"],
        ),
    }  # fmt: skip
    for name, table in tables.items():
        table.to_csv(sheets / f"{name}.csv", index=False)
    report = run.load_files(book, [sheets / f"{name}.csv" for name in tables])
    assert report.held.empty, report.held.head(3).to_string()
    row = run.derive_targets(book).targets.query("month == 'warm'").iloc[0]
    return WarmSeason(*(float(row[field.name]) for field in dataclasses.fields(WarmSeason)))


def files_agree(series: pd.DataFrame, design: Design, campaigns: int) -> int:
    """How many of so many campaigns give the very same figures through sheets, load and targets as directly."""
    same = 0
    for number, campaign, _ in campaigns_of(series, design, range(campaigns)):
        with tempfile.TemporaryDirectory() as folder:
            through = through_files(campaign, accuracy_of(design), Path(folder), number)
        same += through == warm_season(as_readings(campaign, accuracy_of(design)), seeded(number))
    return same


# --- the page

PAGES = [Path(__file__).resolve().parents[2] / "docs" / name for name in ("method.md", "validation.md")]
START, END = "<!-- made: validation -->", "<!-- end: validation -->"


def criteria(rows: list[dict[str, Any]], deleted: dict[str, pd.DataFrame]) -> list[tuple[str, str, str, bool]]:
    """Statement, measured, limit, and whether it is kept; the worst design of each statement stands."""

    def worst(measure: str, names: Iterable[str], limit: float, words: str, sizes: Iterable[str] = ()) -> tuple[str, str, str, bool]:
        chosen = [row for row in rows if row["design"] in names and (not sizes or row["size"] in sizes)]
        row = max(chosen, key=lambda one: one[measure][0])
        percent, error = row[measure]
        return words, f"{percent:.1f} ± {error:.1f} % ({row['design']}, {row['size']})", f"≤ {limit:g} %", percent <= limit

    made = [
        worst("raw", [INDEPENDENT], 5, "too warm on independent days, no allowance"),
        worst("raw", [TRIPS], 8, "too warm on trips shared by all sites in one year, no allowance"),
        worst("less", [TRIPS], 5, "the same, with the allowances"),
        *(worst("less", [name], 5, f"too warm, {name}, with the allowances") for name in FLAWS),
    ]
    short = next(row["raw_short"] for row in rows if row["design"] == INDEPENDENT and row["size"] == "12 × 6")
    made.append(("median shortfall at 12 × 6 on independent days", f"{short:.1f} °C", "≤ 2.2 °C", short <= 2.2))
    for name in (INDEPENDENT, TRIPS):
        row = min((row for row in rows if row["design"] == name and row["size"] != "3 × 4"), key=lambda one: one["p50"][0])
        percent, error = row["p50"]
        words = f"interval of P50 holds the truth from 5 × 6 on, {name}"
        made.append((words, f"{percent:.1f} ± {error:.1f} % ({row['size']})", "≥ 92 %", percent >= 92))
    for name, changes in deleted.items():
        made += deletion_criteria(name, changes)
    return made


def deletion_criteria(name: str, changes: pd.DataFrame) -> list[tuple[str, str, str, bool]]:
    """The statistical statement of method §5."""
    each = changes.groupby("number")["change"].mean()
    error = each.std() / math.sqrt(len(each))
    rises = 100 * (changes["change"] >= 1 - 1e-9).mean()
    words = f"a quarter of the visits deleted, {name}"
    return [
        (f"{words}: mean change", f"{each.mean():+.2f} ± {error:.2f} °C", "< 0 °C", each.mean() < 0),
        (f"{words}: highest mean of a campaign", f"{each.max():+.2f} °C", "≤ +0.5 °C", each.max() <= 0.5),
        (f"{words}: rises of 1 °C or more", f"{rises:.1f} %", "≤ 5 %", rises <= 5),
    ]


def tables(series: pd.DataFrame, rows: list[dict[str, Any]], made: list[tuple[str, str, str, bool]]) -> str:
    """Both tables in Markdown."""
    p95, p50 = truth(series, 0.95), truth(series, 0.5)
    first, last = series["year"].min(), series["year"].max()
    text = [
        f"{series['site'].nunique()} streams, {len(series):,} site-days of June to September, {first}–{last}. "
        f"Over site-days P95 is {p95:.2f} °C and P50 {p50:.2f} °C.",
        "",
        "| statement | measured | limit | kept |",
        "|---|---|---|---|",
        *(f"| {words} | {measured} | {limit} | {'yes' if kept else '**no**'} |" for words, measured, limit, kept in made),
        "",
        "| campaigns | sites × days | too warm, bound alone % | median shortfall °C | too warm, with allowances % | median shortfall °C "
        "| bound above the P95 of the streams and years drawn from % | interval of P50 holds % |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for row in rows:
        covered = "–" if math.isnan(row["p50"][0]) or row["design"] in CHANGED else _percent(row["p50"])
        text.append(
            f"| {row['design']} | {row['size']} | {_percent(row['raw'])} | {row['raw_short']:.1f} | {_percent(row['less'])} "
            f"| {row['less_short']:.1f} | {_percent(row['own'])} | {covered} |"
        )
    constant = 100.0 * (p95 < 22)
    text.append(f"| constant 22.0 °C, whatever is read | any | {constant:.1f} | {p95 - 22:.1f} | {constant:.1f} | {p95 - 22:.1f} | – | – |")
    return "\n".join(text)


# Their readings are not of the whole season, day or stream, so their median is another one.
CHANGED = {name for name in FLAWS if "one year" not in name} | {WARM_HALF}


def _percent(pair: tuple[float, float]) -> str:
    return f"{pair[0]:.1f} ± {pair[1]:.1f}"


DELETED = (Design(INDEPENDENT, 12, 6), Design(INDEPENDENT, 8, 6), Design(TRIPS, 12, 6, one_year=True, trips=True))


def validate(series: pd.DataFrame, campaigns: int, plan: list[Design], deleted_campaigns: int = 60, times: int = 40) -> tuple[str, bool]:
    """Run a plan on two processes; return the tables and whether all statements are kept."""
    p95, of_moments, same = truth(series, 0.95), truth(moments(series), 0.95), files_agree(series, DELETED[0], FILES)
    with ProcessPoolExecutor(2) as workers:
        found = list(workers.map(partial(derive_campaigns, series, numbers=range(campaigns)), plan))
        changes = list(workers.map(partial(deletions, series, campaigns=deleted_campaigns, times=times), DELETED))
    rows = [summary(one, design, of_moments if design.hours else p95) for one, design in zip(found, plan, strict=True)]
    made = criteria(rows, {f"{one.name}, {one.size}": change for one, change in zip(DELETED, changes, strict=True)})
    made.append((f"through sheets, load and targets, {DELETED[0].size}: same figures", f"{same} of {FILES}", "all", same == FILES))
    return tables(series, rows, made), all(kept for *_, kept in made)


def write(text: str) -> None:
    """Put the tables between the marks of the pages."""
    for path in PAGES:
        page = path.read_text(encoding="utf-8")
        before, after = page.split(START)[0], page.split(END)[1]
        path.write_text(f"{before}{START}\n{text}\n{END}{after}", encoding="utf-8", newline="\n")


def main() -> None:
    """Read the arguments, run, print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("open_data", type=Path)
    words.add_argument("--campaigns", type=int, default=1000)
    words.add_argument("--write", action="store_true")
    given = words.parse_args()
    start = time.perf_counter()
    text, kept = validate(read_series(given.open_data), given.campaigns, designs())
    verdict = "All statements are kept." if kept else "NOT all statements are kept."
    print(f"{text}\n\n{verdict} {time.perf_counter() - start:.0f} s on two processes.")
    if given.write:
        write(text)


if __name__ == "__main__":
    main()
