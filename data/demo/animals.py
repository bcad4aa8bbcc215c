"""The invented animals: which stage is met where and when, and how large it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Kind:
    """A stage of a taxon: how common, month by month (0 to 9), where, how long (SVL, mm), with which gills."""

    taxon: str
    stage: str
    weight: float
    months: str
    places: dict[str, float]
    svl_mm: tuple[float, float, float, float]  # mean, SD, least, most
    gills: tuple[str, ...]


LARVAL_PLACES = {"rock_in_flow": 4.0, "gravel_gaps": 3.0, "leaf_pack": 2.0, "pool_bed": 2.0, "water_column": 0.4}
GROUND_PLACES = {"rock_on_bank": 3.0, "under_log": 2.0, "leaf_litter": 1.0, "on_surface": 0.8}
KINDS = (
    Kind("EWIL", "egg_mass", 0.25, "014520000000", {"nest_water": 1.0}, (0, 0, 0, 0), ()),
    Kind("EWIL", "hatchling", 0.8, "000046410000", {"leaf_pack": 1.0, "gravel_gaps": 1.0}, (10.5, 0.7, 9, 12), ("full",)),
    Kind("EWIL", "larva", 9.0, "556666666665", LARVAL_PLACES, (20, 4, 12, 31), ("full",)),
    Kind("EWIL", "metamorph", 1.0, "000013674100", {"rock_at_edge": 2.0, "gravel_gaps": 1.0}, (31, 2, 27, 36), ("reduced", "stubs")),
    Kind("EWIL", "juvenile", 1.3, "223444556633", {"rock_at_edge": 2.0, "moss_mat": 1.0, **GROUND_PLACES}, (30, 2, 26, 34), ("none",)),
    Kind(
        "EWIL", "adult", 3.5, "345676556765", {"rock_at_edge": 3.0, "moss_mat": 0.6, "leaf_pack": 0.5, **GROUND_PLACES},
        (41, 2.5, 35, 48), ("none",),
    ),
    Kind("DMON", "egg_mass", 0.2, "000000560000", {"nest_edge": 1.0}, (0, 0, 0, 0), ()),
    Kind("DMON", "hatchling", 0.4, "000000026820", {"rock_at_edge": 1.0, "moss_mat": 1.0}, (11, 0.6, 10, 12.5), ("full",)),
    Kind("DMON", "larva", 3.0, "567764224667", {"gravel_gaps": 3.0, "leaf_pack": 2.0, "pool_bed": 1.0}, (16, 2, 12, 21), ("full",)),
    Kind("DMON", "metamorph", 0.5, "000037730000", {"gravel_gaps": 1.0, "rock_at_edge": 2.0}, (20, 1.2, 18, 23), ("reduced", "stubs")),
    Kind("DMON", "juvenile", 2.5, "123567777632", {"rock_at_edge": 4.0, "wet_rock": 1.0, "rock_on_bank": 1.0}, (32, 5, 23, 42), ("none",)),
    Kind(
        "DMON", "adult", 7.0, "013678888740",
        {"rock_at_edge": 6.0, "wet_rock": 1.5, "rock_in_flow": 1.0, "bank_burrow": 1.0, "rock_on_bank": 1.6, "under_log": 0.5,
         "on_surface": 1.5},
        (58, 7, 43, 76), ("none",),
    ),
    Kind("GPOR", "egg_mass", 0.02, "000000550000", {"nest_water": 1.0}, (0, 0, 0, 0), ()),
    Kind("GPOR", "hatchling", 0.1, "000000000351", {"gravel_gaps": 1.0}, (18, 1, 16, 20), ("full",)),
    Kind("GPOR", "larva", 2.4, "556666666655", LARVAL_PLACES, (51, 9, 26, 68), ("full",)),
    Kind("GPOR", "metamorph", 0.4, "000035665320", {"rock_in_flow": 1.0, "rock_at_edge": 1.0}, (68, 5, 58, 78), ("reduced", "stubs")),
    Kind("GPOR", "juvenile", 0.2, "001233333210", {"rock_at_edge": 1.0, "rock_on_bank": 1.0}, (66, 3, 59, 72), ("none",)),
    Kind(
        "GPOR", "adult", 2.4, "123456666543",
        {"rock_in_flow": 2.0, "rock_at_edge": 2.0, "wet_rock": 0.5, "rock_on_bank": 1.0, "bank_burrow": 0.5, "on_surface": 0.6},
        (80, 8, 66, 100), ("none",),
    ),
)  # fmt: skip

AT_SEEP = {
    "rock_in_flow": "seep_water", "gravel_gaps": "seep_water", "leaf_pack": "seep_water", "pool_bed": "seep_water",
    "water_column": "seep_water", "rock_at_edge": "seep_edge", "bank_burrow": "seep_edge",
}  # fmt: skip
IN_FOREST = {
    "rock_on_bank": "rock_on_forest_floor", "under_log": "under_log", "leaf_litter": "leaf_litter", "on_surface": "on_surface",
    "bank_burrow": "in_log", "moss_mat": "under_bark",
}  # fmt: skip
SUBSTRATES = {"water": ("gravel", "cobble", "sand", "silt_clay"), "edge": ("gravel", "cobble", "moss", "bedrock"),
              "land": ("soil", "leaf_litter", "gravel"), "surface": ("bedrock", "moss", "leaf_litter")}  # fmt: skip
COVER = {
    "rock_in_flow": "rock", "rock_at_edge": "rock", "rock_on_bank": "rock", "rock_on_forest_floor": "rock", "seep_edge": "rock",
    "nest_water": "rock", "nest_edge": "rock", "under_log": "log", "in_log": "log", "under_bark": "bark", "leaf_pack": "leaves",
    "leaf_litter": "leaves", "moss_mat": "moss", "on_surface": "none", "wet_rock": "none", "water_column": "none",
}  # fmt: skip


def place_at(place: str, kind_of_site: str) -> str:
    """Name of a place at this kind of site, empty where the site has none such."""
    if kind_of_site == "forest":
        return IN_FOREST.get(place, "")
    return AT_SEEP.get(place, place) if kind_of_site in ("seep", "spring") else place


def chances(taxa: dict[str, float], month: int, night: bool, mild: bool, kind_of_site: str) -> tuple[list[tuple[Kind, str]], np.ndarray]:
    """Kinds and places that can be met on a visit, with their chances (sum 1); `taxa` weighs the taxa of the site."""
    found, weights = [], []
    for kind in KINDS:
        total = sum(kind.places.values())
        for place, share in kind.places.items():
            if place == "on_surface" and not (night and mild):
                continue
            name = place_at(place, kind_of_site)
            weight = taxa.get(kind.taxon, 0.0) * kind.weight * int(kind.months[month - 1]) * share / total
            if name and weight > 0:
                found.append((kind, name))
                weights.append(weight)
    return found, np.array(weights) / np.sum(weights)


def half_mm(rng: np.random.RandomState, kind: Kind) -> float:
    """An SVL of the kind, to 0.5 mm."""
    mean, spread, least, most = kind.svl_mm
    return float(np.clip(round(rng.normal(mean, spread) * 2) / 2, least, most))


def mass_of(rng: np.random.RandomState, svl_mm: float) -> float:
    """Mass (g) that goes with an SVL; the factor is from memory, the spread invented."""
    return float(1.8e-5 * svl_mm**3 * np.exp(np.clip(rng.normal(0, 0.18), -0.5, 0.5)))
