"""Are the lines safe, and of use? Campaigns drawn from real daily stream temperatures, through the tool's own targets (method §5, §9).

Run with ``PYTHONPATH=.:tests python tests/benchmarks/validate_lines.py OPEN_DATA [--campaigns 1000] [--write]``; OPEN_DATA holds
``stream_temp_daily`` (water temperatures of three agencies, stated MIT, USGS 2014). Limits from outside the records (CTmax, group cap) are
switched off: with them any program would look safe. What is measured is the month row that a keeper copies: its warmest set point, the top
of its band and its act line against the true P95 of season and month, and its set point against the month's true median.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import pandas as pd
from benchmarks.validate_bound import (
    HALF_RANGE,
    INDEPENDENT,
    SETTINGS,
    SIZES,
    TRIPS,
    Design,
    accuracy_of,
    as_readings,
    campaigns_of,
    read_series,
    share,
    truth,
)

from pipeline.targets import derive

DAYTIME = "10:00–16:00 only"
COOL_P95 = 22.0
BATCH = 25
"""Campaigns derived in one call, each as a population of its own: nothing is pooled over populations."""

PAGE = Path(__file__).resolve().parents[2] / "docs" / "validation.md"
START, END = "<!-- made: lines -->", "<!-- end: lines -->"
LIMITS = {"set_over": 1.5, "top_over": 2.0, "act_over": 6.0, "error": 1.6, "silent": 0.0, "bias": 0.5}


def designs() -> list[Design]:
    """Sizes on independent days and on trips of one year, and daytime readings with the invented cycle of 1.5 °C."""
    rows = [Design(INDEPENDENT, *size) for size in SIZES]
    rows += [Design(TRIPS, *size, one_year=True, trips=True) for size in SIZES]
    return rows + [Design(DAYTIME, *size, hours=(10.0, 16.0)) for size in SIZES[2:]]


def cool(series: pd.DataFrame) -> pd.DataFrame:
    """Streams whose own P95 of June to September is 22 °C or less."""
    return series[series.groupby("site")["value"].transform(lambda values: values.quantile(0.95)) <= COOL_P95]


def batches(series: pd.DataFrame, design: Design, campaigns: int) -> Iterator[pd.DataFrame]:
    """Readings of so many campaigns at a time, a campaign a population."""
    waiting = []
    for number, campaign, _ in campaigns_of(series, design, range(campaigns)):
        waiting.append(as_readings(campaign, accuracy_of(design)).assign(population=str(number)))
        if len(waiting) == BATCH or number == campaigns - 1:
            yield pd.concat(waiting, ignore_index=True)
            waiting = []


def month_rows(series: pd.DataFrame, design: Design, campaigns: int) -> pd.DataFrame:
    """Rows of the graded months of all campaigns, with the true P95 of season and month and the month's true median, °C."""
    # Each worker is a process of its own, so nothing outside this run sees the limits switched off.
    derive.outer_limits = lambda *_: []
    parts = [derive.targets(readings, SETTINGS.taxa, SETTINGS) for readings in batches(series, design, campaigns)]
    rows = pd.concat(parts, ignore_index=True)
    rows = rows[rows["month"].isin([str(month) for month in design.months]) & (rows["grade"] != "D")]
    months = {str(month): part for month, part in series.groupby("month")}
    return rows.assign(
        season_p95=truth(series, 0.95),
        month_p95=rows["month"].map({month: truth(part, 0.95) for month, part in months.items()}),
        month_p50=rows["month"].map({month: truth(part, 0.5) for month, part in months.items()}),
    )


def summary(rows: pd.DataFrame, design: Design) -> dict[str, Any]:
    """What one design gave: shares in % of graded months with their standard error, errors and widths in °C."""
    # The act line is a moment: where readings follow a daily cycle, so does what is true of a moment, at its warmest hour.
    moment = HALF_RANGE if design.hours else 0.0
    return {
        "design": design.name, "size": design.size, "months": len(rows),
        "set_over": share(rows["set_point_high"] > rows["season_p95"]),
        "top_over": share(rows["band_high"] > rows["season_p95"]),
        "act_over": share(rows["act_line"] > rows["season_p95"] + moment),
        "act_over_month": share(rows["act_line"] > rows["month_p95"] + moment),
        "error": float((rows["set_point"] - rows["month_p50"]).abs().median()),
        "bias": float((rows["p50"] - rows["day_shift"] - rows["month_p50"]).median()),
        "printed_bias": float((rows["set_point"] - rows["month_p50"]).median()),
        "silent": 100 * float(rows["set_point"].isna().mean()),
        "width": float((rows["band_high"] - rows["band_low"]).median()),
    }  # fmt: skip


def criteria(streams: str, found: list[dict[str, Any]]) -> list[tuple[str, str, str, bool]]:
    """Statement, measured, limit, and whether it is kept; the worst design of each statement stands."""
    rows = [row for row in found if row["design"] != DAYTIME]
    made = []
    for name, words in (("set_over", "warmest set point"), ("top_over", "top of the band"), ("act_over", "act line")):
        worst = max(rows, key=lambda row: row[name][0])
        percent, error = worst[name]
        told = f"{percent:.1f} ± {error:.1f} % ({worst['design']}, {worst['size']})"
        made.append((f"{streams}: {words} above the season's true P95", told, f"≤ {LIMITS[name]:g} %", percent <= LIMITS[name]))
    worst = max(rows, key=lambda row: row["error"])
    told = f"{worst['error']:.1f} °C ({worst['design']}, {worst['size']})"
    made.append((f"{streams}: size of the set point's error, median", told, f"≤ {LIMITS['error']:g} °C", worst["error"] <= LIMITS["error"]))
    silent = max(row["silent"] for row in found)
    made.append((f"{streams}: graded months without a set point", f"{silent:.1f} %", "none", silent == 0))
    day = max((row for row in found if row["design"] == DAYTIME), key=lambda row: abs(row["bias"]))
    kept = abs(day["bias"]) <= LIMITS["bias"]
    words = f"{streams}: bias of daytime campaigns before rounding down, median"
    return [*made, (words, f"{day['bias']:+.2f} °C ({day['size']})", f"≤ {LIMITS['bias']:g} °C", kept)]


def tables(found: dict[str, list[dict[str, Any]]]) -> tuple[str, bool]:
    """Both tables in Markdown, and whether all statements are kept."""
    made = [one for streams, rows in found.items() for one in criteria(streams, rows)]
    text = [
        "| statement | measured | limit | kept |",
        "|---|---|---|---|",
        *(f"| {words} | {measured} | {limit} | {'yes' if kept else '**no**'} |" for words, measured, limit, kept in made),
        "",
        "| streams | campaigns | sites × days | graded months | warmest set point above the season's P95 % | top of the band % "
        "| act line % | act line above its own month's P95 % | set point's error, median size °C | its median bias as printed °C "
        "| width of the band °C |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    for streams, rows in found.items():
        for row in rows:
            shares = " | ".join(f"{row[name][0]:.1f}" for name in ("set_over", "top_over", "act_over", "act_over_month"))
            text.append(
                f"| {streams} | {row['design']} | {row['size']} | {row['months']:,} | {shares} | {row['error']:.1f}"
                f" | {row['printed_bias']:+.1f} | {row['width']:.1f} |"
            )
    return "\n".join(text), all(kept for *_, kept in made)


def validate(series: dict[str, pd.DataFrame], campaigns: int, plan: list[Design]) -> tuple[str, bool]:
    """Run a plan on two processes for each set of streams; return the tables and whether all statements are kept."""
    found = {}
    with ProcessPoolExecutor(2) as workers:
        for name, streams in series.items():
            rows = workers.map(partial(month_rows, streams, campaigns=campaigns), plan)
            found[name] = [summary(one, design) for one, design in zip(rows, plan, strict=True)]
    return tables(found)


def stream_sets(open_data: Path) -> dict[str, pd.DataFrame]:
    """The streams of a P95 of 22 °C or less, and all of them."""
    every = read_series(open_data)
    some = cool(every)
    return {f"{some['site'].nunique()} cool": some, f"all {every['site'].nunique()}": every}


def main() -> None:
    """Read the arguments, run, print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("open_data", type=Path)
    words.add_argument("--campaigns", type=int, default=1000)
    words.add_argument("--write", action="store_true")
    given = words.parse_args()
    start = time.perf_counter()
    text, kept = validate(stream_sets(given.open_data), given.campaigns, designs())
    print(f"{text}\n\n{'All' if kept else 'NOT all'} statements are kept. {time.perf_counter() - start:.0f} s on two processes.")
    if given.write:
        page = PAGE.read_text(encoding="utf-8")
        before, after = page.split(START)[0], page.split(END)[1]
        PAGE.write_text(f"{before}{START}\n{text}\n{END}{after}", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
