"""A page for the owner of a parcel: what was found on that land, how the water is, and what helps. Nothing of anyone else's land."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import pandas as pd

from pipeline.formulas.moist_air import pressure_kpa
from pipeline.formulas.water import conductivity_at_25c, oxygen_saturation_pct, water_limits
from pipeline.settings import Settings
from pipeline.writing.page import render
from pipeline.writing.words import STAGES, counted, month_runs, named
from schemas.frames.frame import framed
from schemas.frames.reports import LandownerVisits

# quantity: title, unit, digits, benchmark not to be under, benchmark not to be over
WATER = {
    "water_temp_c": ("Water temperature", "°F", 0, "", ""),
    "ph": ("Acidity (pH)", "", 1, "stream_ph_low", "stream_ph_high"),
    "conductivity_25_us_cm": ("Dissolved salts (conductivity at 25 °C)", "µS/cm", 0, "", "stream_conductivity_most"),
    "dissolved_oxygen_mg_l": ("Oxygen in the water", "mg/L", 1, "stream_oxygen_least", ""),
    "oxygen_pct": ("Oxygen, share of what the water can hold", "%", 0, "", ""),
}
NOT_FOUND = "it may still live there: a search does not find every animal"
LOWEST_PRESSURE_KPA = 50.0
NO_NAMES: Mapping[str, str] = MappingProxyType({})
NO_BENCHMARK = "no published benchmark for these animals"


def visit_rows(
    sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, common: Mapping[str, str] = NO_NAMES
) -> pd.DataFrame:
    """Visits to the parcel, one row each.

    Parameters
    ----------
    sites, visits, finds : DataFrame
        Columns of ``schemas.tables``, already cut to the parcel.
    taxa : DataFrame
        Columns ``code``, ``scientific_name``.
    common : mapping of str to str
        Common name by taxon code; where it has none the scientific name stands.

    Returns
    -------
    DataFrame
        As :class:`schemas.frames.reports.LandownerVisits`, by date and site. No remark is in it: remarks name other places and people.
    """
    names = {**dict(zip(taxa["code"], taxa["scientific_name"], strict=True)), **common}
    rows = visits.sort_values(["visit_date", "site_id", "visit_id"], ignore_index=True)
    pressure = pd.Series(pressure_kpa(rows["site_id"].map(sites.set_index("site_id")["elevation_m"]).astype("float64")), index=rows.index)
    temp = rows["water_temp_c"].where(rows["water_temp_c"] >= 0)
    answer = rows["conductivity_at_25c"].astype("boolean")
    met = _met(finds, names)
    empty = rows["incomplete"].map({True: "finds held back", False: "nothing"})
    listed = pd.DataFrame({
        "site_id": rows["site_id"],
        "visit_date": rows["visit_date"].dt.strftime("%Y-%m-%d"),
        "found": rows["visit_id"].map(met).fillna(empty),
        "looked_for": ["; ".join(names.get(code, code) for code in _codes(text)) for text in rows["target_taxa"]],
        "water_temp_c": rows["water_temp_c"],
        "water_temp_f": rows["water_temp_c"].astype("float64") * 1.8 + 32,
        "ph": rows["ph"],
        "conductivity_25_us_cm": conductivity_at_25c(rows["conductivity_us_cm"], temp, answer.astype(object).where(answer.notna(), None)),
        "dissolved_oxygen_mg_l": rows["dissolved_oxygen_mg_l"],
        "oxygen_pct": oxygen_saturation_pct(rows["dissolved_oxygen_mg_l"], temp, pressure.where(pressure >= LOWEST_PRESSURE_KPA)),
    })  # fmt: skip
    return framed(LandownerVisits, listed.round({"water_temp_f": 1, "conductivity_25_us_cm": 1, "oxygen_pct": 1}))


def _codes(text: Any) -> list[str]:
    return [code.strip() for code in str(text).split("|") if code.strip()] if text == text and text is not None else []


def _met(finds: pd.DataFrame, names: dict[str, str]) -> dict[str, str]:
    """What was met on each visit, in words."""
    words: dict[str, list[str]] = {}
    for (visit, taxon, stage), number in finds.groupby(["visit_id", "taxon", "life_stage"], sort=True)["count"].sum().items():
        words.setdefault(visit, []).append(f"{names.get(taxon, taxon)}, {named(STAGES, stage).lower()}: {number}")
    return {visit: "; ".join(parts) for visit, parts in words.items()}


def species_rows(
    visits: pd.DataFrame, finds: pd.DataFrame, taxa: pd.DataFrame, common: Mapping[str, str] = NO_NAMES
) -> list[dict[str, str]]:
    """What was found of each species that was found or looked for on the parcel, in plain words."""
    looked = visits["target_taxa"].map(_codes)
    rows = []
    for code, name in zip(taxa["code"], taxa["scientific_name"], strict=True):
        own = finds[finds["taxon"].eq(code)]
        n_looked = int(looked.map(lambda listed, code=code: code in listed).sum())
        if own.empty and not n_looked:
            continue
        stages = own.groupby("life_stage")["count"].sum()
        words = [f"{named(STAGES, stage).lower()} {stages[stage]}" for stage in STAGES if stage in stages.index]
        other = int(stages[[stage for stage in stages.index if stage not in STAGES]].sum())
        on = own["visit_id"].nunique()
        if on:
            found = f"on {on} of {counted(len(visits), 'visit')}"
            said = ", ".join([*words, *([f"stage not told {other}"] if other else [])])
        else:
            found, said = f"looked for on {counted(n_looked, 'visit')} and not found", NOT_FOUND
        own_name = common.get(code, "")
        rows.append({"name": own_name[:1].upper() + own_name[1:], "scientific_name": name, "found": found, "stages": said})
    return rows


def water_rows(visits: pd.DataFrame) -> list[dict[str, str]]:
    """Readings of each quantity beside its published benchmark.

    Parameters
    ----------
    visits : DataFrame
        As :func:`visit_rows`.

    Returns
    -------
    list of dict
        ``title``, ``n``, ``span`` (lowest, middle, highest; temperatures in °F), ``benchmark``, ``words``.
    """
    known = water_limits()
    limits = known[known["taxon_or_group"] == "all"].set_index("quantity").to_dict("index")
    rows = []
    for name, (title, unit, digits, low, high) in WATER.items():
        read = visits[name].dropna().astype("float64")
        if read.empty:
            rows.append({"title": title, "n": "0", "span": "not measured", "benchmark": "", "words": ""})
            continue
        figures = (read.min(), read.quantile(0.5, interpolation="lower"), read.max())
        if name == "water_temp_c":
            figures = tuple(figure * 1.8 + 32 for figure in figures)
        lowest, middle, highest = (f"{figure:.{digits}f}" for figure in figures)
        rows.append({
            "title": title, "n": str(len(read)), "span": f"{lowest} to {highest}, middle {middle} {unit}".rstrip(),
            **_beside(read, unit, limits.get(low), limits.get(high)),
        })  # fmt: skip
    return rows


def _beside(read: pd.Series, unit: str, low: dict[str, Any] | None, high: dict[str, Any] | None) -> dict[str, str]:
    known = [(word, limit) for word, limit in (("not below", low), ("not above", high)) if limit]
    if not known:
        return {"benchmark": NO_BENCHMARK, "words": ""}
    below = int((read < low["value"]).sum()) if low else 0
    above = int((read > high["value"]).sum()) if high else 0
    said = [f"{below} of {len(read)} below it" if below else "", f"{above} of {len(read)} above it" if above else ""]
    return {
        "benchmark": ", ".join(f"{word} {limit['value']:g}" for word, limit in known) + (f" {unit}" if unit else ""),
        "words": ", ".join(filter(None, said)) or "all inside it",
    }


def page(code: str, sites: pd.DataFrame, visits: pd.DataFrame, finds: pd.DataFrame, settings: Settings, n_doubted: int = 0) -> str:
    """Write the page of one parcel.

    Parameters
    ----------
    code : str
        Code of the parcel.
    sites, visits, finds : DataFrame
        Columns of ``schemas.tables``, already cut to the parcel; visits with ``incomplete``.
    settings : Settings
        Title, author, taxa.
    n_doubted : int
        Water readings left out because a flag doubts them.

    Returns
    -------
    str
        HTML that needs no other file.
    """
    rows = visit_rows(sites, visits, finds, settings.taxa, settings.common_names)
    # a site's name may be that of a neighbour; its code is enough for the owner
    places = [{**site, "n": int(visits["site_id"].eq(site["site_id"]).sum())} for site in sites.sort_values("site_id").to_dict("records")]
    months = month_runs({int(month) for month in visits["visit_date"].dt.month})
    return render(
        "reports",
        "landowner.html",
        settings=settings, code=code, places=places, visits=rows.to_dict("records"), months=months,
        n_visits=counted(len(visits), "visit"), water=water_rows(rows),
        species=species_rows(visits, finds, settings.taxa, settings.common_names),
        doubted=counted(n_doubted, "reading") if n_doubted else "",
    )  # fmt: skip
