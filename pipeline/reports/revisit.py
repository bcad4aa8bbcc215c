"""Where to go next: for each coming month the sites whose visits bring cells nearer to their next grade, never too soon after the last."""

from __future__ import annotations

import math
from calendar import monthrange
from collections.abc import Iterator, Mapping
from datetime import date, timedelta
from typing import Any

import pandas as pd

from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.writing.page import render
from pipeline.writing.words import counted, month_name
from schemas.frame import framed
from schemas.report_frames import REVISIT_COLUMNS, RevisitHistory, Revisits

GO_ONLY_IF = "water at or below its usual level, no rain or storm near; turn back when it rises"
TWO = "two people or more; never alone at night"
SHOWN, LISTED = 20, 5


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
        As :class:`schemas.report_frames.RevisitHistory`.
    """
    known = absence.set_index("taxon")
    rows = []
    for (site_id, taxon), visits in looked.groupby(["site_id", "taxon"], sort=True):
        if site_id not in site_ids or taxon not in known.index:
            continue
        found = visits[visits["found"]]
        left = math.nan if len(found) else known.loc[taxon, "visits_to_absence"] - len(visits)
        rows.append({
            "site_id": site_id, "taxon": taxon, "n_looked": len(visits), "n_found": len(found), "last_found": found["visit_date"].max(),
            "detection": known.loc[taxon, "detection"],
            "visits_to_absence": 0.0 if left < 0 else left,
        })  # fmt: skip
    return framed(RevisitHistory, rows)


def plan(
    gaps: pd.DataFrame, readings: pd.DataFrame, sites: pd.DataFrame, visits: pd.DataFrame, past: pd.DataFrame, today: date
) -> pd.DataFrame:
    """Plan the visits of the coming months.

    Parameters
    ----------
    gaps : DataFrame
        As :func:`pipeline.reports.gaps.gap_list`: it never holds an egg cell, so no egg reading is asked for.
    readings : DataFrame
        As :class:`schemas.frames.Readings`: which sites a cell has already.
    sites, visits : DataFrame
        Columns of ``schemas.tables``.
    past : DataFrame
        As :func:`history`.
    today : date
        Nothing is planned before it.

    Returns
    -------
    DataFrame
        As :class:`schemas.report_frames.Revisits`. A site stands once a month at most, and between any two of its days, planned or past,
        lie at least the rest days of ``limits.csv``. Of several sites on one waterbody the best stands, since they are one site in the
        statistics.
    """
    wanted = gaps[gaps["more_visits"].gt(0)]
    served = {key: set(rows["site"]) for key, rows in readings.groupby(["taxon", "population", "life_stage", "medium", "month"])}
    last = visits.groupby("site_id")["visit_date"].agg(["max", "size"])
    free = {str(site): _date(day) + _rest() for site, day in last["max"].items() if day == day}
    rows: list[dict[str, Any]] = []
    for start, end in _months(today):
        cells = wanted[wanted["month"] == str(start.month)].to_dict("records")
        options = []
        for site in sites.to_dict("records"):
            first = max(start, free.get(site["site_id"], start))
            if first <= end:
                own = past[past["site_id"] == site["site_id"]]
                options.append({**_option(site, cells, served, own), "from": first, "until": end, "month": f"{start:%Y-%m}"})
        for rank, row in enumerate(_best(options), start=1):
            free[row["site_id"]] = row["until"] + _rest()
            seen = last.loc[row["site_id"]] if row["site_id"] in last.index else {"max": pd.NaT, "size": 0}
            rows.append({**row, "rank": rank, "go_only_if": GO_ONLY_IF, "last_visit": seen["max"], "n_visits": int(seen["size"])})
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


def _option(
    site: Mapping[str, Any], cells: list[dict[str, Any]], served: Mapping[tuple[Any, ...], set[str]], past: pd.DataFrame
) -> dict[str, Any]:
    """What a visit to one site in one month would serve."""
    found = set(past.loc[past["n_found"] > 0, "taxon"])
    gone = set(past.loc[past["visits_to_absence"].eq(0), "taxon"])
    key, population = _text(site["waterbody"]) or site["site_id"], _text(site["population"])
    score, words, night = 0.0, [], False
    for cell in cells:
        if cell["population"] != population or cell["taxon"] in gone or (cell["taxon"] not in found and not cell["more_sites"]):
            continue
        have = served.get((*(cell[name] for name in ("taxon", "population", "life_stage", "medium")), int(cell["month"])), set())
        if key in have and cell["more_sites"] >= cell["more_visits"]:
            continue
        score += 1 / cell["trips"]
        night = night or cell["company"] != ""
        words.append((cell["trips"], f"{cell['taxon']} {cell['life_stage']} {cell['medium']} (lacks {cell['more_visits']})"))
    pending = past[past["n_found"].eq(0) & past["visits_to_absence"].gt(0)]
    return {
        "site_id": site["site_id"], "waterbody": _text(site["waterbody"]), "population": population, "score": round(score, 3),
        "look_for": "; ".join(text for _, text in sorted(words)),
        "absence": "; ".join(
            f"{row.taxon} not found on {counted(row.n_looked, 'visit')}, {row.visits_to_absence:.0f} to go"
            for row in pending.itertuples()
        ),
        "company": TWO if night else "",
        "key": key,
    }  # fmt: skip


def _best(options: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Options that serve something, best first, one a waterbody."""
    useful = sorted((one for one in options if one["score"] > 0 or one["absence"]), key=lambda one: (-one["score"], one["site_id"]))
    taken: dict[str, dict[str, Any]] = {}
    for one in useful:
        taken.setdefault(one["key"], one)
    return list(taken.values())


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
    months = []
    for month, rows in plan_rows.groupby("month", sort=True):
        title = f"{month_name(int(str(month)[5:]))} {str(month)[:4]}"
        listed = [
            {**row, "name": names[row["site_id"]], "look_for": _short(row["look_for"])} for row in rows.head(SHOWN).to_dict("records")
        ]
        months.append({"title": title, "rows": listed, "more": len(rows) - len(listed)})
    return render(
        "reports",
        "revisit.html",
        settings=settings, today=today.isoformat(), months=months, rest=f"{judgement('revisit_days_least'):g}",
        past=[_seen(row) for row in past.to_dict("records")], absence=absence.to_dict("records"), go_only_if=GO_ONLY_IF,
    )  # fmt: skip


def _short(cells: str) -> str:
    """The nearest cells, and how many more."""
    every = cells.split("; ")
    return cells if len(every) <= LISTED else f"{'; '.join(every[:LISTED])}; and {len(every) - LISTED} more"


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
