"""The invented finds of a visit, as text rows in rillbook's own field names."""

from __future__ import annotations

from collections import Counter
from typing import Any

import animals
import climate
import numpy as np

from schemas.vocabulary import medium_of

Row = dict[str, str]
Marked = dict[str, list[tuple[str, float]]]
FIELDS = (
    "find_id", "visit_id", "found_at", "taxon", "id_certainty", "life_stage", "gills", "count", "sex", "svl_mm", "total_length_mm",
    "tail_whole", "mass_g", "microhabitat", "cover_object", "cover_longest_mm", "substrate", "substrate_wetness", "sun", "reading_place",
    "depth_cm", "distance_to_water_m", "water_temp_c", "substrate_temp_c", "air_temp_c", "rh_pct", "wet_bulb_c", "latitude", "longitude",
    "condition", "disposition", "animal_id", "photo", "remarks",
)  # fmt: skip
TAIL_FACTOR = {"EWIL": 2.1, "DMON": 1.95, "GPOR": 1.65}
READING = ("water_temp_c", "substrate_temp_c", "air_temp_c")
# One value at five finds of a visit is a fault of its own, so the sound finds stay well below.
MOST_EQUAL_READINGS = 3


def clock(minutes: int) -> str:
    """Minutes since midnight as HH:MM, past midnight too."""
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"


def pick(rng: np.random.RandomState, options: dict[str, float]) -> str:
    """One of the options by weight."""
    weights = np.array(list(options.values()))
    return str(rng.choice(list(options), p=weights / weights.sum()))


def finds_of(rng: np.random.RandomState, visit: dict[str, Any], number: int, known: Marked) -> list[Row]:
    """Make the finds of a visit.

    Parameters
    ----------
    rng : RandomState
        Source of chance.
    visit : dict
        ``visit_id``, ``site`` (see generate.py), ``start`` (minutes since midnight), ``minutes``, ``day_of_year``, ``month``, ``night``,
        ``weather``, ``bias``, ``air`` (all °C), ``rh`` (%).
    number : int
        How many.
    known : dict
        Marked animals by site and taxon, each with its SVL (mm); grows.

    Returns
    -------
    list of dict
        Text by field name.
    """
    kinds, chance = animals.chances(visit["site"]["taxa"], visit["month"], visit["night"], visit["air"] > 4, visit["site"]["kind"])
    if not kinds:
        return []
    rows = []
    for order, minute in enumerate(sorted(rng.randint(1, visit["minutes"], size=number)), start=1):
        kind, place = kinds[rng.choice(len(kinds), p=chance)]
        row = dict.fromkeys(FIELDS, "")
        row.update(find_id=f"{visit['visit_id']}-{order:02d}", visit_id=visit["visit_id"], found_at=clock(visit["start"] + int(minute)))
        row.update(taxon=kind.taxon, life_stage=kind.stage, count="1", microhabitat=place)
        _body(rng, row, kind, visit, known)
        _place(rng, row, visit)
        _reading(rng, row, visit, (visit["start"] + int(minute)) / 60 % 24)
        rows.append(row)
    _spread_readings(rng, rows)
    _tell_apart(rows)
    return rows


def _body(rng: np.random.RandomState, row: Row, kind: animals.Kind, visit: dict[str, Any], known: Marked) -> None:
    row["id_certainty"] = pick(rng, {"certain": 0.9, "likely": 0.07, "genus_only": 0.015, "unsure": 0.015})
    row["condition"], row["disposition"] = "well", "not_caught"
    if kind.stage == "egg_mass":
        return
    if rng.uniform() < 0.02:
        row["life_stage"] = "undetermined"
        return
    if kind.taxon == "GPOR" or rng.uniform() < 0.8:
        row["gills"] = str(rng.choice(kind.gills))
    if rng.uniform() > 0.62:
        if kind.stage in ("larva", "hatchling") and rng.uniform() < 0.12:
            row["count"] = str(rng.randint(2, 6))
        return
    row["condition"] = pick(rng, {"well": 0.965, "thin": 0.018, "lesions": 0.011, "dead": 0.006})
    row["disposition"] = "dead" if row["condition"] == "dead" else "released"
    svl_mm = animals.half_mm(rng, kind)
    if kind.stage == "adult" and kind.taxon in ("GPOR", "DMON") and rng.uniform() < (0.5 if kind.taxon == "GPOR" else 0.08):
        svl_mm = _marked(rng, row, visit["site"]["site_id"], svl_mm, known)
    row["svl_mm"] = f"{svl_mm:.1f}"
    row["tail_whole"] = "no" if rng.uniform() < 0.08 else "yes"
    if row["tail_whole"] == "yes" and rng.uniform() < 0.8:
        row["total_length_mm"] = f"{svl_mm * TAIL_FACTOR[kind.taxon] * rng.uniform(0.95, 1.05):.1f}"
    if svl_mm > 12 and rng.uniform() < 0.5:
        row["mass_g"] = f"{animals.mass_of(rng, svl_mm):.2f}"
    if kind.stage == "adult":
        row["sex"] = pick(rng, {"female": 0.35, "male": 0.35, "undetermined": 0.3})
    if rng.uniform() < 0.15:
        row["photo"] = f"{row['find_id']}.jpg"


def with_distinct_marks(rows: list[Row]) -> list[Row]:
    """Give a mark of its own to a find whose mark stands at another animal: twice in a visit, or at both sexes."""
    met: dict[str, tuple[set[str], set[str]]] = {}
    made: dict[str, int] = {}
    for row in rows:
        mark = row["animal_id"]
        if not mark:
            continue
        visits, sexes = met.setdefault(mark, (set(), set()))
        sex = {row["sex"]} & {"female", "male"}
        if row["visit_id"] in visits or (sex and sexes and sex != sexes):
            made[mark] = made.get(mark, 0) + 1
            row["animal_id"] = f"{mark}{'abcdefgh'[made[mark] - 1]}"
            continue
        visits.add(row["visit_id"])
        sexes |= sex
    return rows


def _marked(rng: np.random.RandomState, row: Row, site_id: str, svl_mm: float, known: Marked) -> float:
    """Give the animal its mark, new or met before, and return its SVL."""
    pool = known.setdefault(f"{site_id} {row['taxon']}", [])
    if pool and rng.uniform() < 0.4:
        row["animal_id"], first_mm = pool[rng.randint(len(pool))]
        return round((first_mm + rng.uniform(0, 2)) * 2) / 2
    row["animal_id"] = f"{site_id}-{row['taxon'][0]}{len(pool) + 1:02d}"
    pool.append((row["animal_id"], svl_mm))
    return svl_mm


def _place(rng: np.random.RandomState, row: Row, visit: dict[str, Any]) -> None:
    place, medium = row["microhabitat"], medium_of(row["microhabitat"])
    row["cover_object"] = animals.COVER.get(place, "")
    if row["cover_object"] == "rock":
        row["cover_longest_mm"] = str(int(np.clip(round(rng.lognormal(5.3, 0.45) / 10) * 10, 60, 900)))
    row["substrate"] = str(rng.choice(animals.SUBSTRATES[medium]))
    if medium in ("edge", "land"):
        wetness = {"drips": 0.35, "wet_shine": 0.6, "moist": 0.05} if medium == "edge" else {"wet_shine": 0.25, "moist": 0.7, "dry": 0.05}
        row["substrate_wetness"] = pick(rng, wetness)
    if medium == "water":
        row["depth_cm"] = str(rng.randint(1, 9) if place in ("seep_water", "nest_water") else rng.randint(3, 31))
        row["distance_to_water_m"] = "0"
    elif visit["site"]["kind"] != "forest":
        row["distance_to_water_m"] = "0" if medium == "edge" else f"{rng.uniform(0.2, 6):.1f}"
    row["sun"] = "dark" if visit["night"] else pick(rng, {"shade": 0.75, "dappled": 0.25})
    if visit["site"]["true_place"] and rng.uniform() < 0.12:
        latitude, longitude = visit["site"]["true_place"]
        row["latitude"] = f"{latitude + rng.uniform(-0.0005, 0.0005):.5f}"
        row["longitude"] = f"{longitude + rng.uniform(-0.0005, 0.0005):.5f}"


def _reading(rng: np.random.RandomState, row: Row, visit: dict[str, Any], hour: float) -> None:
    """Read the thermometer at the animal, as often as people do."""
    if rng.uniform() < 0.1:
        return
    site, medium = visit["site"], medium_of(row["microhabitat"])
    when = (site["elevation_m"], visit["day_of_year"], hour, visit["weather"])
    ground = climate.temperature_c(climate.SOIL, *when) + 0.6 * site["offset"]
    water = climate.temperature_c(climate.WATER[site["kind"]], *when) + site["offset"] if site["kind"] in climate.WATER else ground
    place = {"under_same_cover": 0.7, "at_animal": 0.27, "beside": 0.03} if row["cover_object"] == "rock" else {"at_animal": 1.0}
    row["reading_place"] = "at_animal" if medium in ("water", "surface") else pick(rng, place)
    if medium == "water":
        row["water_temp_c"] = f"{max(0.2, water + visit['bias'] + rng.normal(0, 0.3)):.1f}"
    elif medium == "edge":
        row["substrate_temp_c"] = f"{max(0.2, 0.7 * water + 0.3 * ground + visit['bias'] + _near(rng, 0.5)):.1f}"
    elif medium == "land":
        row["substrate_temp_c"] = f"{max(0.2, ground + visit['bias'] + _near(rng, 0.8)):.1f}"
    else:
        air_c = visit["air"] + rng.uniform(-0.8, 0.3)
        rh_pct = float(np.clip(visit["rh"] + rng.uniform(0, 6), 50, 99))
        row["air_temp_c"] = f"{air_c:.1f}"
        if rng.uniform() < 0.6:
            row["rh_pct"] = f"{rh_pct:.0f}"
        else:
            row["wet_bulb_c"] = f"{min(round(air_c, 1), climate.wet_bulb_c(air_c, rh_pct)):.1f}"


def _near(rng: np.random.RandomState, spread: float) -> float:
    return float(np.clip(rng.normal(0, spread), -2 * spread, 2 * spread))


def _spread_readings(rng: np.random.RandomState, rows: list[Row]) -> None:
    """Move readings by tenths until no value stands at more than a few finds of the visit."""
    for name in READING:
        seen: Counter[str] = Counter()
        for row in rows:
            while row[name] and seen[row[name]] >= MOST_EQUAL_READINGS:
                row[name] = f"{max(0.2, float(row[name]) + rng.choice([-0.2, -0.1, 0.1, 0.2])):.1f}"
                if row["wet_bulb_c"] and float(row["wet_bulb_c"]) > float(row["air_temp_c"]):
                    row["wet_bulb_c"] = row["air_temp_c"]
            seen[row[name]] += 1


def _tell_apart(rows: list[Row]) -> None:
    """Lengthen animals by half a millimetre until no two of a visit have the same measures."""
    seen: set[tuple[str, ...]] = set()
    for row in rows:
        if not row["svl_mm"] or row["animal_id"]:
            continue
        while (twin := tuple(row[name] for name in ("taxon", "life_stage", "svl_mm", "total_length_mm", "mass_g", "microhabitat"))) in seen:
            row["svl_mm"] = f"{float(row['svl_mm']) + 0.5:.1f}"
        seen.add(twin)
