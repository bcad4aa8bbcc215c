"""Where to go next: for each coming month the sites whose visits bring cells nearer to their next grade, never too soon after the last."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Any

import numpy as np
import pandas as pd

from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.settings.reports import Reach
from pipeline.writing.page import render
from pipeline.writing.words import MEDIA, STAGES, counted, month_name, named
from schemas.frames.frame import framed
from schemas.frames.reports import REVISIT_COLUMNS, RevisitHistory, Revisits

GO_ONLY_IF = "water at or below its usual level, no rain or storm near; turn back when it rises"
TWO = "two people or more; never alone at night"
LISTED = 5
CELL = ["taxon", "population", "life_stage", "medium", "month"]
DEFAULT_REACH = Reach()


def history(looked: pd.DataFrame, absence: pd.DataFrame, site_ids: list[str]) -> pd.DataFrame:
    """For each site and taxon that was looked for: visits, finds, and what absence would still take.

    Parameters
    ----------
    looked : DataFrame
        As :func:`pipeline.statistics.detection.searches`.
    absence : DataFrame
        As :func:`pipeline.statistics.detection.detections`.
    site_ids : list of str
        Sites in their order.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.RevisitHistory`.
    """
    known = absence.set_index("taxon")
    kept = looked[looked["site_id"].isin(site_ids) & looked["taxon"].isin(known.index)]
    pair = ["site_id", "taxon"]
    counts = kept.groupby(pair, sort=True).agg(n_looked=("visit_id", "size"), n_found=("found", "sum"))
    last = kept[kept["found"].astype("bool")].groupby(pair)["visit_date"].max().rename("last_found")
    table = counts.join(last).reset_index()
    left = (table["taxon"].map(known["visits_to_absence"]) - table["n_looked"]).mask(table["n_found"] > 0)
    detection = table["taxon"].map(known["detection"])
    return framed(RevisitHistory, table.assign(detection=detection, visits_to_absence=left.mask(left < 0, 0.0)))


def plan(
    gaps: pd.DataFrame,
    readings: pd.DataFrame,
    sites: pd.DataFrame,
    visits: pd.DataFrame,
    past: pd.DataFrame,
    today: date,
    reach: Reach = DEFAULT_REACH,
) -> pd.DataFrame:
    """Plan the visits of the coming months.

    Parameters
    ----------
    gaps : DataFrame
        As :func:`pipeline.reports.gaps.gap_list`: it never holds an egg cell, so no egg reading is asked for.
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`: which sites a cell has already.
    sites, visits : DataFrame
        Columns of ``schemas.tables``.
    past : DataFrame
        As :func:`history`.
    today : date
        Nothing is planned before it.
    reach : Reach
        Days and visits that a person can do in a month.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.Revisits`. A month has as many spells as days in the field, each with its share of
        the visits; of the present month only what is left. A site stands once a month at most, and between any two of its days, planned or
        past, lie at least the rest days of ``limits.csv``. Of several sites on one waterbody the best stands, since they are one site in
        the statistics. What the visits of the plan may be expected to bring a cell is not asked for twice.
    """
    wanted = gaps[gaps["more_visits"].gt(0) & gaps["trips"].notna()]
    table = _Table(sites, past, readings)
    last = visits.groupby("site_id")["visit_date"].agg(["max", "size"])
    free = {str(site): _date(day) + _rest() for site, day in last["max"].items() if day == day}
    rows: list[dict[str, Any]] = []
    for month_start, month_end in _months(today):
        cells = wanted[wanted["month"] == str(month_start.month)].reset_index(drop=True)
        serves, gone = table.serves(cells), np.zeros(len(sites), dtype=bool)
        trips = cells["trips"].to_numpy(float)
        left = trips.copy()
        rank = 0
        for start, end, n in _spells(month_start, month_end, reach):
            first = [max(start, free.get(site, start)) for site in table.sites["site_id"]]
            open_now = np.array([day <= end for day in first], dtype=bool)
            for _ in range(n):
                score = serves[:, left > 0] @ (1 / trips[left > 0])
                useful = open_now & ~gone & ((score > 0) | table.pending)
                if not useful.any():
                    break
                # of equal sites the first by code, whatever the order of the rows
                best = int(max(np.flatnonzero(useful), key=lambda at: (score[at], table.last_by_code[at])))
                rank += 1
                site = table.sites["site_id"][best]
                seen = last.loc[site] if site in last.index else {"max": pd.NaT, "size": 0}
                rows.append({
                    "month": f"{month_start:%Y-%m}", "rank": rank, "from": first[best], "until": end, "score": round(float(score[best]), 3),
                    **table.words(best, cells[serves[best] & (left > 0)]), "go_only_if": GO_ONLY_IF, "last_visit": seen["max"],
                    "n_visits": int(seen["size"]),
                })  # fmt: skip
                free[site] = end + _rest()
                gone |= table.key == table.key[best]
                left = left - serves[best]
    frame = pd.DataFrame(rows, columns=list(REVISIT_COLUMNS))
    dated = {name: pd.to_datetime(frame[name]).dt.strftime("%Y-%m-%d") for name in ("from", "until", "last_visit")}
    return framed(Revisits, frame.assign(**dated))


def _rest() -> timedelta:
    return timedelta(days=judgement("revisit_days_least"))


def _date(day: Any) -> date:
    return pd.Timestamp(day).date()


def _months(today: date) -> Iterator[tuple[date, date]]:
    """First and last day of each month of the plan; the present one from today on."""
    first = today
    for _ in range(int(judgement("plan_months"))):
        end = first.replace(day=monthrange(first.year, first.month)[1])
        yield first, end
        first = end + timedelta(days=1)


def _spells(start: date, end: date, reach: Reach) -> Iterator[tuple[date, date, int]]:
    """First and last day of each spell of a month, and how many visits it takes; of a month that has begun its last spells."""
    length = end.day
    for number in range(reach.days):
        first, last = (
            end.replace(day=1) + timedelta(days=length * place // reach.days - (place - number)) for place in (number, number + 1)
        )
        n = reach.visits * (number + 1) // reach.days - reach.visits * number // reach.days
        # a spell of which less than half is left is gone: nobody goes to all its sites in a day
        left = (last - max(first, start)).days + 1
        if n and left * 2 >= (last - first).days + 1:
            yield max(first, start), last, n


class _Table:
    """Which site serves which cell, as one matrix."""

    def __init__(self, sites: pd.DataFrame, past: pd.DataFrame, readings: pd.DataFrame) -> None:
        self.sites = {name: [_text(value) for value in sites[name]] for name in ("site_id", "waterbody", "population")}
        self.key = np.array([body or site for site, body in zip(self.sites["site_id"], self.sites["waterbody"], strict=True)], dtype=object)
        place = {site: number for number, site in enumerate(self.sites["site_id"])}
        self.last_by_code = np.argsort(np.argsort(self.sites["site_id"])[::-1])
        known = past[past["site_id"].isin(place)]
        self.past = {site: rows for site, rows in known.groupby("site_id")}
        self.found, self.gone = (
            set(zip(rows["site_id"].map(place), rows["taxon"], strict=True))
            for rows in (known[known["n_found"] > 0], known[known["visits_to_absence"].eq(0)])
        )
        waiting = known.loc[known["n_found"].eq(0) & known["visits_to_absence"].gt(0), "site_id"]
        self.pending = np.isin(self.sites["site_id"], list(waiting))
        self.population = np.array(self.sites["population"], dtype=object)
        self.served = {key: set(rows["site"]) for key, rows in readings.groupby(CELL)}

    def serves(self, cells: pd.DataFrame) -> np.ndarray:
        """For each site and cell, whether a visit may bring a reading that counts; shape (sites, cells)."""
        n = len(self.key)
        of_taxon = {
            taxon: (
                np.array([(site, taxon) in self.found for site in range(n)]),
                np.array([(site, taxon) in self.gone for site in range(n)]),
            )
            for taxon in cells["taxon"].unique()
        }
        columns = []
        for cell in cells.to_dict("records"):
            found, gone = of_taxon[cell["taxon"]]
            fits = (self.population == cell["population"]) & ~gone & (found | (cell["more_sites"] > 0))
            if cell["more_sites"] >= cell["more_visits"]:
                have = self.served.get((*(cell[name] for name in CELL[:-1]), int(cell["month"])), set())
                fits &= ~np.isin(self.key, list(have))
            columns.append(fits)
        return np.column_stack(columns).astype(bool) if columns else np.zeros((n, 0), dtype=bool)

    def words(self, at: int, cells: pd.DataFrame) -> dict[str, Any]:
        """What a visit to a site serves, the nearest cell first."""
        site = self.sites["site_id"][at]
        known = self.past.get(site)
        pending = known[known["n_found"].eq(0) & known["visits_to_absence"].gt(0)] if known is not None else None
        nearest = cells.sort_values(["trips", "taxon", "life_stage", "medium"])
        return {
            "site_id": site, "waterbody": self.sites["waterbody"][at], "population": self.sites["population"][at],
            "look_for": "; ".join(f"{row.taxon} {row.life_stage} {row.medium} (lacks {row.more_visits})" for row in nearest.itertuples()),
            "absence": "; ".join(
                f"{row.taxon} not found on {counted(row.n_looked, 'visit')}, {row.visits_to_absence:.0f} to go"
                for row in ([] if pending is None else pending.itertuples())
            ),
            "company": TWO if cells["company"].ne("").any() else "",
        }  # fmt: skip


def _text(value: Any) -> str:
    return "" if value is None or value != value else str(value).strip()


def page(plan_rows: pd.DataFrame, past: pd.DataFrame, absence: pd.DataFrame, sites: pd.DataFrame, settings: Settings, today: date) -> str:
    """Write the plan as a private page.

    Parameters
    ----------
    plan_rows, past, absence : DataFrame
        As :func:`plan`, :func:`history`, :func:`pipeline.statistics.detection.detections`.
    sites : DataFrame
        For the sites' names.
    settings : Settings
        Title, taxa.
    today : date
        Stands on the page.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    names = {site: _text(name) for site, name in zip(sites["site_id"], sites["site_name"], strict=True)}
    species = dict(zip(settings.taxa["code"], settings.taxa["scientific_name"], strict=True))
    months = []
    for month, rows in plan_rows.groupby("month", sort=True):
        title = f"{month_name(int(str(month)[5:]))} {str(month)[:4]}"
        listed = [{**row, "name": names[row["site_id"]], **_in_words(row, species)} for row in rows.to_dict("records")]
        months.append({"title": title, "rows": listed})
    return render(
        "reports",
        "revisit.html",
        settings=settings, today=today.isoformat(), months=months, rest=f"{judgement('revisit_days_least'):g}", reach=settings.reach,
        past=[{**_seen(row), "species": species.get(row["taxon"], row["taxon"])} for row in past.to_dict("records")],
        absence=absence.to_dict("records"), go_only_if=GO_ONLY_IF,
    )  # fmt: skip


def _in_words(row: Mapping[str, Any], species: Mapping[str, str]) -> dict[str, Any]:
    """The nearest cells by species, how many more there are, and what is not yet stated as absent."""
    cells = [cell.split(" ", 3) for cell in str(row["look_for"]).split("; ") if cell]
    of_species: dict[str, list[str]] = {}
    for taxon, stage, medium, lacks in cells[:LISTED]:
        of_species.setdefault(species.get(taxon, taxon), []).append(f"{named(STAGES, stage).lower()} {named(MEDIA, medium)} {lacks}")
    absent = [one.split(" ", 1) for one in str(row["absence"]).split("; ") if one]
    return {
        "cells": list(of_species.items()),
        "more_cells": max(0, len(cells) - LISTED),
        "absent": [(species.get(taxon, taxon), words) for taxon, words in absent],
    }


def _seen(row: Mapping[str, Any]) -> dict[str, Any]:
    if row["n_found"]:
        said = f"last found {_date(row['last_found']).isoformat()}"
    elif row["visits_to_absence"] == 0:
        said = "not found; enough visits to state absence, if they were alike and independent"
    elif row["visits_to_absence"] == row["visits_to_absence"]:
        said = f"not found; {counted(row['visits_to_absence'], 'visit')} more to state absence"
    else:
        said = "not found; detection not known"
    return {**row, "said": said}
