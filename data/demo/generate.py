"""Make the invented study: `python data/demo/generate.py [FOLDER]` from the top of the repository writes its files.

The same seed gives the same bytes: numpy promises that the stream of `RandomState` does not change from version to version, and makes
no such promise for its newer generators.
"""

from __future__ import annotations

import csv
import io
import sys
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent)]

import climate  # noqa: E402
import finds  # noqa: E402
import landscape  # noqa: E402
import plant  # noqa: E402

SEED = 20221
YEARS = (2022, 2023, 2024, 2025)
YEAR_EFFECT_C = {2022: 0.3, 2023: -0.4, 2024: 0.0, 2025: 0.5}
WEATHER_SD_C = 1.5
TRIPS_A_MONTH = (2, 2, 3, 4, 5, 6, 7, 6, 6, 5, 3, 2)
REST_DAYS = 14
ZONE = ZoneInfo("America/New_York")
TEAMS = ("observer 1; observer 2", "observer 1; observer 3", "observer 2; observer 3; observer 4", "observer 4")
THERMOMETERS = {"T1": ("0.2", 0.05), "T2": ("0.3", -0.1), "T3": ("0.5", 0.2)}
# site, habitat, water source, population, latitude, longitude, elevation (m), order, canopy (%), public precision
SITES = (
    ("N01", "headwater", "spring", "N-high", 36.2912, -81.9743, 1310, 1, 92, "0.1"),
    ("N02", "headwater", "surface", "N-high", 36.3127, -81.9315, 1245, 1, 88, "0.1"),
    ("N03", "stream", "surface", "N-high", 36.3384, -81.8876, 985, 3, 70, "0.01"),
    ("N04", "stream", "surface", "N-high", 36.3521, -81.8402, 955, 3, 75, "0.01"),
    ("N05", "headwater", "surface", "N-high", 36.2769, -81.8918, 1120, 1, 90, ""),
    ("N06", "stream", "surface", "N-high", 36.3245, -81.7934, 1010, 2, 80, "0.1"),
    ("N07", "headwater", "spring", "N-high", 36.2388, -81.6557, 1180, 1, 94, ""),
    ("N08", "spring", "spring", "N-high", 36.2835, -81.7719, 1205, 1, 90, "1"),
    ("N09", "seep", "seep", "N-high", 36.2634, -81.9462, 1365, 0, 95, "1"),
    ("N10", "seep", "seep", "N-high", 36.3069, -81.8614, 1090, 0, 90, "1"),
    ("N11", "seep", "seep", "N-high", 36.2577, -81.7981, 1290, 0, 85, "withheld"),
    ("N12", "headwater", "surface", "N-high", 36.4218, -81.8558, 1060, 2, 86, "0.1"),
    ("N13", "forest", "", "N-high", 36.2961, -81.7489, 1150, None, 97, ""),
    ("S01", "stream", "surface", "S-low", 36.1482, -81.9263, 585, 3, 65, "0.01"),
    ("S02", "headwater", "surface", "S-low", 36.1726, -81.8534, 710, 1, 84, "0.1"),
    ("S03", "headwater", "spring", "S-low", 36.1315, -81.7617, 655, 1, 88, "0.1"),
)  # fmt: skip
# Sites that were taken into the study later and are seldom searched: they have their own dates and no planted fault.
FURTHER_SITES = (
    ("N14", "headwater", "surface", "N-high", 36.3641, -81.6712, 1040, 2, 82, "0.1"),
    ("N15", "headwater", "surface", "N-high", 36.2263, -81.7354, 1150, 1, 91, "0.1"),
    ("S04", "stream", "surface", "S-low", 36.0871, -81.7863, 560, 3, 68, "0.1"),
)  # fmt: skip
FURTHER_TRIPS = 8
# Sites whose written place is a planted fault get no coordinates at their finds, so that each fault stands alone.
MISPLACED = ("N10", "N13", "S01")
SITE_FIELDS = (
    "site_id", "site_name", "waterbody", "population", "study_area", "county", "state", "habitat", "water_source", "latitude", "longitude",
    "datum", "coordinate_uncertainty_m", "elevation_m", "stream_order", "canopy_pct", "public_precision_deg", "remarks",
)  # fmt: skip
VISIT_FIELDS = (
    "visit_id", "site_id", "visit_date", "start_time", "end_time", "observers", "protocol", "search_minutes", "observer_count", "length_m",
    "cover_objects_turned", "unsearched_pct", "target_taxa", "all_counted", "thermometer", "thermometer_accuracy_c",
    "thermometer_checked_on",
    "air_temp_c", "air_height_m", "rh_pct", "wet_bulb_c", "psychrometer", "water_temp_c", "water_depth_cm", "ph", "conductivity_us_cm",
    "conductivity_at_25c", "dissolved_oxygen_mg_l", "flow", "sky", "rain_24h", "days_since_rain", "disinfectant", "remarks",
)  # fmt: skip
POINT_FIELDS = ("point_id", "visit_id", "microhabitat", "substrate", "water_temp_c", "substrate_temp_c", "air_temp_c", "rh_pct")
Row = dict[str, str]


def sites(rng: np.random.RandomState, listed: tuple[tuple[Any, ...], ...] = SITES) -> list[dict[str, Any]]:
    """The sites with what only the generator knows: the place, the offset (°C), the taxa and their weights, under ``row`` the text row."""
    made = []
    for site_id, habitat, source, population, latitude, longitude, elevation, order, canopy, precision in listed:
        taxa = ("EWIL",) if population == "S-low" else ("EWIL", "DMON", "GPOR")
        row = dict.fromkeys(SITE_FIELDS, "")
        row.update(site_id=site_id, site_name=f"invented {habitat} {site_id}", population=population, study_area="LARK", habitat=habitat)
        row.update(waterbody="" if habitat == "forest" else f"rill {site_id}", water_source=source)
        row.update(county=f"Invented {'South' if population == 'S-low' else 'North'} County", state="Invented State")
        row.update(datum="WGS84", coordinate_uncertainty_m="30")
        row.update(latitude=f"{latitude:.4f}", longitude=f"{longitude:.4f}", elevation_m=str(elevation), canopy_pct=str(canopy))
        row.update(stream_order="" if order is None else str(order), public_precision_deg=precision)
        made.append({
            "site_id": site_id, "kind": habitat, "population": population, "elevation_m": elevation, "row": row,
            "true_place": None if site_id in MISPLACED else (latitude, longitude),
            "offset": float(np.clip(rng.normal(0, 0.9), -1.6, 1.6)),
            "taxa": {taxon: float(np.exp(rng.normal(0, 0.3))) for taxon in taxa},
        })  # fmt: skip
    return made


def trips(rng: np.random.RandomState) -> list[dict[str, Any]]:
    """Days out: several sites on one date, by day or by night, with the weather that they share."""
    made = []
    for year in YEARS:
        for month, number in enumerate(TRIPS_A_MONTH, start=1):
            for day in sorted(rng.choice(np.arange(1, 29), size=number, replace=False)):
                when = date(year, month, int(day))
                night = rng.uniform() < (0.42 if 4 <= month <= 10 else 0.3)
                # The night on which the clocks change has an hour twice, or none: only the planted visit goes out then.
                if any(_offset_h(when + timedelta(days=step)) != _offset_h(when + timedelta(days=step + 1)) for step in (-1, 0)):
                    night = False
                thermometer = str(rng.choice(list(THERMOMETERS)))
                made.append({
                    "date": when, "night": night, "region": "S" if rng.uniform() < 0.2 else "N", "team": str(rng.choice(TEAMS)),
                    "thermometer": thermometer, "bias": THERMOMETERS[thermometer][1],
                    "weather": float(np.clip(rng.normal(0, WEATHER_SD_C), -3.2, 3.2)) + YEAR_EFFECT_C[year],
                    "rain": finds.pick(rng, {"none": 0.5, "light": 0.28, "moderate": 0.16, "heavy": 0.06}),
                    "dry_days": int(rng.randint(1, 15)), "humid": float(rng.uniform(-8, 8)),
                })  # fmt: skip
    return made


def _offset_h(when: date) -> float:
    """Hours from UTC at noon of the day."""
    return datetime(when.year, when.month, when.day, 12, tzinfo=ZONE).utcoffset() / timedelta(hours=1)  # type: ignore[operator]


def visits(
    rng: np.random.RandomState, places: list[dict[str, Any]], days_out: list[dict[str, Any]], first: int = 1
) -> list[dict[str, Any]]:
    """Searches of sites, each with what only the generator knows and under ``row`` the text row; `first` is the first visit's number."""
    made: list[dict[str, Any]] = []
    last: dict[str, date] = {}
    for trip in days_out:
        rested = [
            place for place in places
            if place["site_id"][0] == trip["region"] and (trip["date"] - last.get(place["site_id"], date.min)).days >= REST_DAYS
        ]  # fmt: skip
        count = min(len(rested), int(rng.choice([2, 3, 4], p=[0.25, 0.45, 0.3])))
        day_of_year = trip["date"].timetuple().tm_yday
        start_hour = climate.sunset_hour(day_of_year, _offset_h(trip["date"])) + 0.6 if trip["night"] else rng.uniform(8.7, 12.5)
        minute = int(60 * start_hour) + int(rng.randint(0, 25))
        for choice in rng.permutation(len(rested))[:count]:
            minutes = int(rng.randint(40, 85))
            made.append(_visit(rng, trip, rested[choice], minute, minutes, first + len(made)))
            last[rested[choice]["site_id"]] = trip["date"]
            minute += minutes + int(rng.randint(18, 40))
    return made


def _visit(
    rng: np.random.RandomState, trip: dict[str, Any], place: dict[str, Any], minute: int, minutes: int, number: int
) -> dict[str, Any]:
    when = trip["date"] + timedelta(days=minute // 1440)
    start = minute % 1440
    hour, day_of_year = (start + minutes / 2) / 60, when.timetuple().tm_yday
    at = (place["elevation_m"], day_of_year, hour, trip["weather"])
    air = climate.temperature_c(climate.AIR, *at) + float(np.clip(rng.normal(0, 0.7), -1.4, 1.4))
    usual_pct = (91 if trip["night"] else 72) + (6 if trip["rain"] != "none" else 0)
    rh_pct = float(np.clip(usual_pct + trip["humid"] + rng.uniform(-4, 4), 45, 99))
    visit = {
        "visit_id": f"V{number:04d}", "site": place, "start": start, "minutes": minutes, "date": when, "day_of_year": day_of_year,
        "month": when.month, "night": trip["night"], "weather": trip["weather"], "bias": trip["bias"], "air": air, "rh": rh_pct,
    }  # fmt: skip
    row = dict.fromkeys(VISIT_FIELDS, "")
    row.update(visit_id=visit["visit_id"], site_id=place["site_id"], visit_date=when.isoformat())
    row.update(start_time=finds.clock(start), end_time=finds.clock(start + minutes))
    _effort(rng, row, trip, place, minutes)
    _instruments(rng, row, trip, when)
    _air(rng, row, air, rh_pct)
    if place["kind"] in climate.WATER:
        _water(rng, row, climate.temperature_c(climate.WATER[place["kind"]], *at) + place["offset"] + trip["bias"], place)
    _weather(rng, row, trip, place)
    return {**visit, "row": row}


def _effort(rng: np.random.RandomState, row: Row, trip: dict[str, Any], place: dict[str, Any], minutes: int) -> None:
    protocol = {"time_constrained": 0.55, "area_constrained": 0.35, "visual_encounter": 0.1}
    row["protocol"] = "cover_search" if place["kind"] == "forest" else "night_search" if trip["night"] else finds.pick(rng, protocol)
    row.update(observers=trip["team"], observer_count=str(trip["team"].count("observer")))
    row.update(search_minutes=str(int(minutes * rng.uniform(0.7, 0.95))), length_m=str(10 * rng.randint(2, 9)))
    row.update(cover_objects_turned=str(rng.randint(20, 160)), unsearched_pct=str(5 * rng.randint(0, 9)))
    row.update(target_taxa="DMON|EWIL|GPOR", all_counted="yes" if rng.uniform() < 0.85 else "no")
    if rng.uniform() < 0.7:
        row["disinfectant"] = "peroxymonosulfate 1 %; 5 min"


def _instruments(rng: np.random.RandomState, row: Row, trip: dict[str, Any], when: date) -> None:
    if rng.uniform() < 0.1:
        return
    row["thermometer"], row["thermometer_accuracy_c"] = trip["thermometer"], THERMOMETERS[trip["thermometer"]][0]
    row["thermometer_checked_on"] = (date(when.year - 1, 11, 20) if when.month < 6 else date(when.year, 5, 20)).isoformat()


def _air(rng: np.random.RandomState, row: Row, air_c: float, rh_pct: float) -> None:
    if rng.uniform() < 0.12:
        return
    row["air_temp_c"], row["air_height_m"] = f"{air_c:.1f}", "1.0"
    way = rng.uniform()
    if way < 0.35:
        row["rh_pct"], row["psychrometer"] = f"{rh_pct:.0f}", "electronic"
    elif way < 0.65 and air_c > 1:
        row["wet_bulb_c"], row["psychrometer"] = f"{min(round(air_c, 1), climate.wet_bulb_c(air_c, rh_pct)):.1f}", "sling"


def _water(rng: np.random.RandomState, row: Row, water_c: float, place: dict[str, Any]) -> None:
    if rng.uniform() < 0.93:
        row["water_temp_c"] = f"{max(0.2, water_c + rng.normal(0, 0.1)):.1f}"
        row["water_depth_cm"] = str(rng.randint(1, 6) if place["kind"] == "seep" else rng.randint(8, 35))
    if rng.uniform() < 0.4:
        low_water = place["kind"] in ("seep", "spring")
        row["ph"] = f"{np.clip(rng.normal(6.4 if low_water else 6.8, 0.25), 5.4, 7.8):.1f}"
        row["conductivity_us_cm"] = f"{np.clip(rng.normal(24 if low_water else 38, 6), 9, 90):.0f}"
        row["conductivity_at_25c"] = "yes"
    if rng.uniform() < 0.25:
        # Near saturation at the site's height: common practice, no source; the line is invented.
        row["dissolved_oxygen_mg_l"] = f"{max(5.0, (13.2 - 0.27 * water_c) * rng.uniform(0.84, 0.97)):.1f}"


def _weather(rng: np.random.RandomState, row: Row, trip: dict[str, Any], place: dict[str, Any]) -> None:
    row["rain_24h"] = trip["rain"]
    row["days_since_rain"] = str(trip["dry_days"]) if trip["rain"] == "none" else "0"
    wet = {"drizzle": 0.3, "fog": 0.2, "overcast": 0.5} if float(row["air_temp_c"] or 5) > 2 else {"snow": 0.3, "overcast": 0.7}
    row["sky"] = finds.pick(rng, {"clear": 0.5, "part_cloud": 0.35, "overcast": 0.15} if trip["rain"] == "none" else wet)
    if place["kind"] in climate.WATER:
        dry = trip["rain"] == "none" and trip["dry_days"] > 9
        row["flow"] = "low" if dry else "high" if trip["rain"] == "heavy" else "usual"


def all_finds(rng: np.random.RandomState, made: list[dict[str, Any]]) -> list[Row]:
    """Finds of every visit; about a third of the visits has none, more in winter."""
    rows: list[Row] = []
    known: dict[str, list[tuple[str, float]]] = {}
    for visit in made:
        warm, mild = visit["month"] in (5, 6, 7, 8, 9), visit["month"] in (4, 10, 11)
        nothing, usual = (0.25, 7.4) if warm else (0.35, 5.4) if mild else (0.58, 3.0)
        if rng.uniform() >= nothing:
            share = {"forest": 0.45, "seep": 0.75}.get(visit["site"]["kind"], 1.0)
            rows += finds.finds_of(rng, visit, 1 + int(rng.poisson(usual * share * rng.gamma(3, 1 / 3))), known)
    return rows


def points(rng: np.random.RandomState, made: list[dict[str, Any]]) -> list[Row]:
    """Readings where no animal was, at about one visit in six."""
    rows = []
    for visit in made:
        if rng.uniform() > 0.17:
            continue
        site, hour = visit["site"], (visit["start"] + visit["minutes"] / 2) / 60
        when = (site["elevation_m"], visit["day_of_year"], hour, visit["weather"])
        ground = climate.temperature_c(climate.SOIL, *when) + 0.6 * site["offset"] + visit["bias"]
        in_water = {"seep": "seep_water", "spring": "seep_water"}.get(site["kind"], "rock_in_flow")
        spots = ["leaf_litter", "on_surface"] if site["kind"] == "forest" else [in_water, "rock_at_edge", "rock_on_bank", "on_surface"]
        for order, place in enumerate(spots, start=1):
            row = dict.fromkeys(POINT_FIELDS, "")
            row.update(point_id=f"{visit['visit_id']}-A{order}", visit_id=visit["visit_id"], microhabitat=place)
            if place == in_water:
                water = climate.temperature_c(climate.WATER[site["kind"]], *when) + site["offset"] + visit["bias"]
                row.update(substrate="gravel", water_temp_c=f"{max(0.2, water + rng.normal(0.1, 0.3)):.1f}")
            elif place == "on_surface":
                row.update(substrate="leaf_litter", air_temp_c=f"{visit['air'] + rng.uniform(-0.3, 0.6):.1f}", rh_pct=f"{visit['rh']:.0f}")
            else:
                row.update(substrate="soil", substrate_temp_c=f"{max(0.2, ground + rng.normal(0.3, 0.7)):.1f}")
            rows.append(row)
    return rows


def as_csv(rows: list[Row]) -> str:
    """Rows as CSV text with the keys of the first as header."""
    out = io.StringIO()
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()


def generate() -> dict[str, str]:
    """Text of every file of the study by file name."""
    rng = np.random.RandomState(SEED)
    places = sites(rng)
    days_out = trips(rng)
    made = visits(rng, places, days_out)
    tables = {
        "sites": [place["row"] for place in places],
        "visits": [visit["row"] for visit in made],
        "finds": finds.with_distinct_marks(all_finds(rng, made)),
        "availability": points(rng, made),
    }
    planted = plant.plant(tables)
    _add_further(tables, {trip["date"] for trip in days_out}, len(made) + 1)
    written = {f"{name}.csv": as_csv(rows) for name, rows in {**tables, "planted_faults": planted}.items()}
    return {**written, "landscape.geojson": landscape.geojson()}


def _add_further(tables: dict[str, list[Row]], taken: set[date], first: int) -> None:
    """Add the sites that came later, from a stream of chance of their own: whatever is said of the others stays as it was."""
    rng = np.random.RandomState(SEED + 1)
    places = sites(rng, FURTHER_SITES)
    free = [trip for trip in trips(rng)[::FURTHER_TRIPS] if trip["date"] not in taken]
    days_out = [{**trip, "region": "NS"[number % 2]} for number, trip in enumerate(free)]
    made = visits(rng, places, days_out, first)
    tables["sites"] += [place["row"] for place in places]
    tables["visits"] += [visit["row"] for visit in made]
    tables["finds"] += finds.with_distinct_marks(all_finds(rng, made))
    tables["availability"] += points(rng, made)


def main() -> None:
    """Write the files into the folder named on the command line, or beside this script."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    for name, text in generate().items():
        (folder / name).write_bytes(text.encode("utf-8"))


if __name__ == "__main__":
    main()
