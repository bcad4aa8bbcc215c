"""Published finds by grid square, taxon, life stage and month of the year; where the finds are few, they are merged."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from pipeline.formulas.grid_squares import grid_square
from pipeline.formulas.places import place_figures
from schemas.public import public_fields
from schemas.vocabulary import codes

GROUP = ["grid_step_deg", "south", "west", "north", "east", "taxon", "life_stage"]
NUMBERS = ["n_finds", "n_animals", "n_visits"]


def squares(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Summarise the published finds.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        From `protect.public_rows`.

    Returns
    -------
    DataFrame
        Columns of the public table `squares`, ordered by square. Months with fewer finds than `few_finds` (places.csv, a judgement) are
        merged into one row of their square, taxon and stage, without a month; where even that has fewer, words stand for the numbers.
    """
    least = int(place_figures()["few_finds"])
    joined = tables["finds"].merge(tables["visits"][["event_id", "month", "grid_step_deg", "latitude", "longitude"]], on="event_id")
    places = list(zip(joined["latitude"], joined["longitude"], joined["grid_step_deg"].to_numpy(dtype=object), strict=True))
    found = {place: grid_square(*place) for place in set(places)}
    sides = pd.DataFrame([found[place] for place in places], columns=GROUP[1:5], index=joined.index, dtype=float)
    whole = pd.concat([joined, sides], axis=1).assign(month_of_year=joined["month"].str[-2:].astype("Int64"))
    size = whole.groupby([*GROUP, "month_of_year"], sort=False)["count"].transform("size")
    whole["month_of_year"] = whole["month_of_year"].mask(size < least)
    grouped = whole.groupby([*GROUP, "month_of_year"], dropna=False, sort=False)
    table = grouped.agg(n_finds=("count", "size"), n_animals=("count", "sum"), n_visits=("event_id", "nunique")).reset_index()
    return _finished(table, least, dict(zip(tables["taxa"]["code"], tables["taxa"]["scientific_name"], strict=True)))


def _finished(table: pd.DataFrame, least: int, names: Mapping[str, str]) -> pd.DataFrame:
    few = table["month_of_year"].isna() & (table["n_finds"] < least)
    rank = {stage: number for number, stage in enumerate(codes("life_stage"))}
    numbers = {name: table[name].astype("Int64").mask(few) for name in NUMBERS}
    table = table.assign(
        **numbers,
        month_of_year=table["month_of_year"].astype("Int64"),
        few=pd.Series(f"fewer than {least}", index=table.index, dtype="str").where(few),
        scientific_name=table["taxon"].map(names).astype("str"),
        rank=table["life_stage"].map(rank),
    )
    table = table.sort_values(["south", "west", "grid_step_deg", "taxon", "rank", "month_of_year"], ignore_index=True)
    keys = table[["grid_step_deg", "south", "west", "taxon", "life_stage", "month_of_year"]].itertuples(index=False, name=None)
    table["square_id"] = [_key(*key) for key in keys]
    return table[list(public_fields("squares"))]


def _key(step: str, south: float, west: float, taxon: str, stage: str, month: object) -> str:
    return f"{step}_{south:g}_{west:g}_{taxon}_{stage}_{'several' if pd.isna(month) else f'{month:02d}'}"
