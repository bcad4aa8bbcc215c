"""Selected or merely observed: temperatures where animals were beside those where they were not, and how often visits find (method §8)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from pipeline.settings import Settings
from pipeline.settings.limits import judgement
from pipeline.statistics.bootstrap import crossed_bootstrap, interval
from pipeline.statistics.quantiles import weighted_quantile
from pipeline.statistics.weights import named_seed, site_day_weights
from pipeline.targets.figures import columns_of, rows_of
from schemas.frames.field import Detection, Selection
from schemas.frames.frame import framed

Group = tuple[str, str, str, str]

GROUP = ["taxon", "population", "life_stage", "medium"]
VISIT = ["population", "medium", "visit_id"]
OTHER = "other months"
THIRDS = ("cool", "middle", "warm")


def selection(readings: pd.DataFrame, availability: pd.DataFrame, settings: Settings, *, replicates: int | None = None) -> pd.DataFrame:
    """Tell for each cell and season whether animals sat cooler or warmer than what was to be had.

    A visit's difference is the mean of its distinct readings at animals less the mean of its readings where no animals were, in the same
    medium. The figure is the median over visits with site-day weights; its interval the crossed bootstrap by site and date. Seasons are
    never pooled: a warm side in spring and a cool one in summer would cancel out.

    Parameters
    ----------
    readings : DataFrame
        As :class:`schemas.frames.targets.Readings`, °C. The visits' own readings (``from_visit``) are not at animals and are left out.
    availability : DataFrame
        Columns ``population``, ``medium``, ``point_id``, ``visit_id``, ``value`` (°C), as from ``evidence.availability``.
    settings : Settings
        Warm and cold months, and the seed.
    replicates : int, optional
        Bootstrap replicates; the method's number if not given.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.Selection`; one row a cell and season with readings at animals. ``word`` is ``selected`` only
        from `p50_sites_least` sites and `p50_dates_least` dates on, and if the 95 % interval leaves 0 out.

    Notes
    -----
    Where there is no choice, up to about one cell in twenty is called selected by chance. Mean and not median within a visit, because two
    or three points have no better middle.
    """
    season = {month: name for name, months in (("warm", settings.warm_months), ("cold", settings.cold_months)) for month in months}
    own = readings[~readings["from_visit"]]
    own = own.assign(season=own["month"].map(season).fillna(OTHER).astype("str"))
    points = availability.groupby(VISIT)["value"].agg(["mean", "size"]).rename(columns={"mean": "beside", "size": "n_points"})
    draws = int(replicates or judgement("replicates"))
    visits = _visits(own).join(points, on=VISIT)
    # numbers in the order of the codes: they sort as these do, in a fraction of the time
    columns = columns_of(visits.assign(site=pd.factorize(visits["site"], sort=True)[0]))
    has_both, rows = ~np.isnan(columns["beside"].astype("float64")), []
    for key, inside in visits.groupby([*GROUP, "season"], sort=True).indices.items():
        paired = rows_of(columns, inside[has_both[inside]])
        figure = {**_counts(len(inside), paired), **_figure(key, paired, settings, draws)}
        rows.append({**dict(zip([*GROUP, "season"], key, strict=True)), **figure})
    return framed(Selection, sorted(rows, key=lambda row: [row[name] for name in (*GROUP, "season")]))


def detection_by_temperature(visits: pd.DataFrame, finds: pd.DataFrame, temperature: str = "water_temp_c") -> pd.DataFrame:
    """Share of the visits that looked for a taxon and found it, by thirds of the visits of each site from cool to warm.

    A visit is in the third of its rank among the site's visits; visits of one temperature are in one third. Nothing is corrected: a visit
    that found none does not show that none was there, and warm visits are also those of summer.

    Parameters
    ----------
    visits : DataFrame
        Columns ``visit_id``, ``site_id``, ``target_taxa`` (codes separated by ``|``), ``incomplete`` (true: its finds were held back), and
        the column of `temperature`.
    finds : DataFrame
        Columns ``visit_id``, ``taxon``.
    temperature : str
        Column of the visit's temperature, °C.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.field.Detection`: three rows a taxon that a visit looked for.
    """
    named = visits.assign(taxon=visits["target_taxa"].fillna("").astype("str").str.split("|")).explode("taxon")
    named = named.assign(taxon=named["taxon"].str.strip())
    named = named[named["taxon"] != ""].drop_duplicates(["visit_id", "taxon"])
    found = finds[["visit_id", "taxon"]].drop_duplicates().assign(found=True)
    looked = named.merge(found, on=["visit_id", "taxon"], how="left")
    looked["found"] = looked["found"].eq(True)
    # What an unfinished visit found is known as little as what it did not.
    used = looked[looked[temperature].notna() & ~looked["incomplete"].fillna(False).astype("bool")]
    ranks = used.groupby(["taxon", "site_id"])[temperature]
    used = used.assign(place=(ranks.rank() - 0.5) / ranks.transform("size"))[ranks.transform("nunique") >= len(THIRDS)]
    used["third"] = np.minimum((used["place"] * len(THIRDS)).astype("int64"), len(THIRDS) - 1)
    rows = [_third(taxon, third, looked, used) for taxon in sorted(looked["taxon"].unique()) for third in range(len(THIRDS))]
    return framed(Detection, rows)


def _visits(own: pd.DataFrame) -> pd.DataFrame:
    """One row a cell, season and visit: the mean of its distinct readings at animals."""
    cell = [*GROUP, "season", "visit_id"]
    # numbered once: to tell equal rows apart by six texts takes far longer than by a number
    numbered = own.assign(visit=own.groupby(cell, sort=True).ngroup(), month=own["month"].astype("int64"))
    distinct = numbered.drop_duplicates(["visit", "value"])
    read = distinct.groupby("visit", sort=True)["value"].agg(["mean", "size"])
    visits = distinct.drop_duplicates("visit").set_index("visit").sort_index()[[*cell, "site", "date", "month"]]
    return visits.assign(at=read["mean"], n=read["size"]).reset_index(drop=True)


def _counts(n_visits: int, paired: Mapping[str, NDArray[Any]]) -> dict[str, int]:
    n_paired = len(paired["at"])
    return {
        "n_visits": n_paired,
        "n_dates": len(np.unique(paired["date"])),
        "n_sites": len(np.unique(paired["site"])),
        "n_years": len(np.unique(paired["date"].astype("datetime64[Y]"))),
        "n_readings": int(paired["n"].sum()),
        "n_points": int(paired["n_points"].sum()),
        "n_unpaired": n_visits - n_paired,
    }


def _figure(key: tuple[str, ...], paired: Mapping[str, NDArray[Any]], settings: Settings, replicates: int) -> dict[str, Any]:
    figure: dict[str, Any] = {"word": "observed", "side": "", "reason": "", "difference": math.nan, "low": math.nan, "high": math.nan}
    if not len(paired["at"]):
        return {**figure, "reason": "no readings where animals were not"}
    difference = paired["at"] - paired["beside"]
    weights = site_day_weights(paired["site"], paired["month"], paired["date"])
    figure["difference"] = float(weighted_quantile(difference, weights, 0.5)[0])
    sites, dates = len(np.unique(paired["site"])), len(np.unique(paired["date"]))
    least_sites, least_dates = judgement("p50_sites_least"), judgement("p50_dates_least")
    if sites < least_sites or dates < least_dates:
        return {**figure, "reason": f"{sites} of {least_sites:g} sites, {dates} of {least_dates:g} dates needed"}
    seed = named_seed(("selection", *key), settings.seed)
    drawn = crossed_bootstrap(difference, weights, paired["site"], paired["date"], [0.5], replicates, seed)[:, 0]
    low, high = interval(drawn, judgement("p50_low_percentile"), judgement("p50_high_percentile"))
    if low <= 0 <= high:
        return {**figure, "low": low, "high": high, "reason": "the interval of the difference holds 0"}
    return {**figure, "low": low, "high": high, "word": "selected", "side": "warmer" if low > 0 else "cooler"}


def _third(taxon: str, third: int, looked: pd.DataFrame, used: pd.DataFrame) -> dict[str, Any]:
    mine = used[used["taxon"] == taxon]
    rows = mine[mine["third"] == third]
    n_found = int(rows["found"].sum())
    return {
        "taxon": taxon,
        "third": THIRDS[third],
        "n_visits": len(rows),
        "n_found": n_found,
        "share": n_found / len(rows) if len(rows) else math.nan,
        "n_sites": rows["site_id"].nunique(),
        "n_left_out": int((looked["taxon"] == taxon).sum()) - len(mine),
    }
