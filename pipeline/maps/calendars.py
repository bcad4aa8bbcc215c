"""In which months each stage was found in each part of a map, and how warm it was there: the table behind the panels."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from pipeline.maps.frames import EFFORT, STAGES, map_figures
from pipeline.statistics.quantiles import weighted_quantile

ACROSS_MOST = 7
LETTERED_MOST = 160
# more of them would lie on every month of a panel
DOTTED_MOST = 150
NO_PANEL = "undetermined"
FACTORS = tuple(factor * 10.0**power for power in range(-3, 3) for factor in (1, 2, 5))


class Part(NamedTuple):
    """A part of a map: south and west corner and side, degrees; `larger` where it is a square that holds others of the map."""

    south: float
    west: float
    step: float
    larger: bool


class Calendar(NamedTuple):
    """What a part of the map holds of a layer.

    Attributes
    ----------
    part : Part
    layer : str
    months : dict of int to float
        Months in which it was found, with the middle of the medians (°C), each weighing as its readings; NaN without a reading.
    undated : bool
        Something was found of which no month is shown.
    """

    part: Part
    layer: str
    months: dict[int, float]
    undated: bool


def corners(cells: pd.DataFrame, private: bool) -> pd.DataFrame:
    """South, west and side (degrees) of the place of each cell; a site has no side."""
    if private:
        return pd.DataFrame({"south": cells["latitude"], "west": cells["longitude"], "side": 0.0})
    return pd.DataFrame({"south": cells["south"], "west": cells["west"], "side": cells["step"].astype(float)})


def in_view(cells: pd.DataFrame, private: bool) -> pd.Series:
    """Tell which cells a map opens on: those near the middle of the finds, so that one place far away makes nothing small.

    Parameters
    ----------
    cells : DataFrame
        From `public_cells` or `exact_cells`, not empty.
    private : bool
        The cells are exact.

    Returns
    -------
    Series of bool
        On the index of `cells`. True for the finest squares where they hold most of the finds, else for all; less those beyond twice the
        distance within which ``view_share`` of the finds were made (data/reference/map.csv).
    """
    places = corners(cells, private).assign(finds=cells["n_finds"].fillna(0) + 1)
    fine = places["side"] == places["side"].min()
    shown = fine if 2 * places.loc[fine, "finds"].sum() >= places["finds"].sum() else fine | True
    mine = places[shown]
    middle = [_middle(mine[[name, "finds"]]) for name in ("south", "west")]
    # a degree east is shorter than one north
    east = np.cos(np.radians(middle[0]))
    apart = np.hypot(places["south"] - middle[0], (places["west"] - middle[1]) * east)
    order = apart[shown].sort_values()
    reached = mine.loc[order.index, "finds"].cumsum() >= float(map_figures()["view_share"]) * mine["finds"].sum()
    radius = max(float(order[reached].iloc[0]), float(places.loc[shown, "side"].max()), 0.02)
    return shown & (apart <= 2 * radius)


def part_of(cells: pd.DataFrame, private: bool) -> pd.Series:
    """Put each cell into a part of the map: its square, or squares of so large a side that no more than a few stand in a row.

    Parameters
    ----------
    cells : DataFrame
        From `public_cells` or `exact_cells`, not empty.
    private : bool
        The cells are exact.

    Returns
    -------
    Series of Part
        On the index of `cells`; None where the cell lies far from the others.
    """
    places = corners(cells, private)
    near = in_view(cells, private)
    shown = places[near]
    span = max(np.ptp(shown["south"]), np.ptp(shown["west"]))
    least = float(shown["side"].min())
    step = next(
        (size for size in FACTORS if size >= max(least, 0.001) and _in_a_row(shown, size) <= ACROSS_MOST),
        FACTORS[-1] if span else FACTORS[0],
    )
    rows = list(places.assign(near=near).itertuples(index=False, name=None))
    part = {one: _part(one, step) for one in set(rows)}
    return pd.Series([part[one] for one in rows], index=cells.index, dtype=object)


def _part(place: tuple[Any, ...], step: float) -> Part | None:
    south, west, side, close = place
    if side > step:
        return Part(south, west, side, True)
    if not close:
        return None
    low, left = (round(float(np.floor(round(value / step, 6)) * step), 6) for value in (south, west))
    return Part(low, left, step, False)


def _in_a_row(places: pd.DataFrame, step: float) -> int:
    numbers = [np.floor((places[name] / step).round(6)) for name in ("south", "west")]
    return int(max(np.ptp(number) for number in numbers)) + 1


def calendars(cells: pd.DataFrame, parts: pd.Series) -> Iterator[Calendar]:
    """Yield what each part holds of each stage.

    Parameters
    ----------
    cells : DataFrame
        As for :func:`part_of`.
    parts : Series of Part
        From :func:`part_of`.
    """
    staged = cells["layer"].isin(STAGES)
    keyed = cells.loc[staged, ["layer", "months", "temp_median_c", "n_readings"]].assign(part=parts[staged])
    for (part, layer), mine in keyed.groupby(["part", "layer"], sort=True):
        by_month: dict[int, list[tuple[float, float]]] = {}
        for months, celsius, readings in mine[["months", "temp_median_c", "n_readings"]].to_numpy(dtype=object).tolist():
            for month in _months(months):
                by_month.setdefault(month, []).append((celsius, readings))
        found = {month: _middle(values) for month, values in sorted(by_month.items())}
        yield Calendar(Part(*part), layer, found, bool(mine["months"].isna().any()))


def visited(cells: pd.DataFrame, parts: pd.Series) -> dict[Part, tuple[set[int], int, int]]:
    """Months with visits, number of visits, and of visits that found nothing, by part of the map."""
    efforts = cells["layer"] == EFFORT
    found = {}
    for part, mine in cells.loc[efforts, ["months", "n_visits", "n_without"]].assign(part=parts[efforts]).groupby("part", sort=True):
        months = {month for text in mine["months"].unique() for month in _months(text)}
        found[Part(*part)] = (months, int(mine["n_visits"].sum()), int(mine["n_without"].sum()))
    return found


def _months(text: object) -> list[int]:
    return [int(month) for month in text.split("|")] if isinstance(text, str) else []


def _middle(values: ArrayLike) -> float:
    """Middle of medians, each weighing as its readings, as on the page; missing where nothing was read."""
    celsius, readings = np.asarray(values, dtype=float).reshape(-1, 2).T
    read = (readings > 0) & ~np.isnan(celsius)
    return float(weighted_quantile(celsius[read], readings[read], [0.5])[0]) if read.any() else float("nan")


def dotted(cells: pd.DataFrame, private: bool) -> bool:
    """Whether the panels show where the sites are: on the exact map, where they are not too many."""
    return private and cells["site_id"].nunique() <= DOTTED_MOST


class Panels:
    """What the panels of a map are drawn from.

    Parameters
    ----------
    cells : DataFrame
        From `public_cells` or `exact_cells`, not empty.
    lines, outline : sequence
        As on the page.
    private : bool
        The cells are exact.
    """

    def __init__(self, cells: pd.DataFrame, lines: Sequence[Any], outline: Sequence[Any], private: bool) -> None:
        parts = part_of(cells, private)
        self.private, self.lines = private, [*(("outline", points) for points in outline), *lines]
        self.visits = visited(cells, parts)
        self.found: dict[str, list[Calendar]] = {}
        for one in calendars(cells, parts):
            self.found.setdefault(one.layer, []).append(one)
        every = sorted(set(parts.dropna()))
        self.inside = [part for part in every if not part.larger] or every
        across = max(1, round((max(p.west for p in self.inside) - min(p.west for p in self.inside)) / self.inside[0].step)) + 1
        larger = [part for part in every if part not in self.inside]
        self.across = max(across, 3)
        self.below = dict(islice(((part, at) for at, part in enumerate(larger)), self.across))
        away = cells.loc[parts.isna(), ["site_id"] if private else ["step", "south", "west"]]
        self.left_out = len(larger) - len(self.below) + len(away.drop_duplicates())
        sited = cells[parts.notna()] if dotted(cells, private) else None
        self.sites = None if sited is None else sited[["site_id", "latitude", "longitude"]].drop_duplicates("site_id")
        self.animals = cells.groupby("layer")["n_animals"].sum()
        self.layers = [stage for stage in STAGES if stage in self.found and stage != NO_PANEL]
        self.lettered = sum(map(len, self.found.values())) <= LETTERED_MOST

    def extent(self) -> tuple[float, float, float, float]:
        """South, west, north and east of a panel; the squares that are larger than the picture stand in a row below."""
        step = self.inside[0].step
        south, west = min(part.south for part in self.inside), min(part.west for part in self.inside)
        north = max(part.south for part in self.inside) + step
        east = max(west + self.across * step, max(part.west for part in self.inside) + step)
        pad = 0.12 * step
        return south - pad - (1.35 * step if self.below else 0), west - pad, north + pad, east + pad

    def corner(self, part: Part) -> tuple[float, float]:
        """South and west of where a part is drawn."""
        if part not in self.below:
            return part.south, part.west
        step = self.inside[0].step
        return min(p.south for p in self.inside) - 1.2 * step, min(p.west for p in self.inside) + self.below[part] * step
