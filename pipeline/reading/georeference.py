"""How far off a place may be, and the places of a sheet of sites: read from the notes, brought to WGS 84, with a record of each step."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

import pandas as pd

from pipeline.formulas.places import ellipsoid, place_figures, to_wgs84
from pipeline.reading.coordinates import NULL_PLACE, Place, read_angle, read_place

AXES = {"latitude": "NS", "longitude": "EW"}


@dataclass(frozen=True)
class Change:
    """One value that was worked out rather than copied: row, field, value, the text it comes from, and how."""

    row: int
    field: str
    value: float | str
    text: str
    how: str


def precision_uncertainty_m(latitude: float, precision_deg: float) -> float:
    """Uncertainty that comes from the precision of a coordinate alone.

    Parameters
    ----------
    latitude : float
        Degrees.
    precision_deg : float
        Precision of latitude and longitude, degrees.

    Returns
    -------
    float
        Metres: sqrt((π M p / 180)² + (π N cos φ p / 180)²) with the radii of curvature M and N of WGS 84 at φ.

    References
    ----------
    Wieczorek, Guo & Hijmans 2004, Int. J. Geogr. Inf. Sci. 18: 745-767.
    """
    axis, squared = ellipsoid()
    phi = math.radians(latitude)
    curve = 1 - squared * math.sin(phi) ** 2
    north = math.radians(precision_deg) * axis * (1 - squared) / curve**1.5
    east = math.radians(precision_deg) * axis * math.cos(phi) / curve**0.5
    return math.hypot(north, east)


def coordinate_uncertainty_m(
    latitude: float,
    precision_deg: float | None = None,
    *,
    precision_m: float | None = None,
    gps_accuracy_m: float | None = None,
    read_on: dt.date | None = None,
    datum: str | None = None,
    shift_m: float = 0.0,
) -> int:
    """Radius of the circle that surely holds a place of which only coordinates were noted.

    Parameters
    ----------
    latitude : float
        Degrees.
    precision_deg : float, optional
        Precision of the coordinates in degrees, see `coordinates.Place`.
    precision_m : float, optional
        Precision of metric coordinates in metres; half the diagonal of the step counts.
    gps_accuracy_m : float, optional
        Figure that the receiver showed; it is doubled. Not noted: 30 m, or 100 m before 2000-05-01.
    read_on : date, optional
        Day on which the coordinates were read; missing counts as before 2000-05-01.
    datum : str, optional
        Code of the vocabulary ``datum``; missing or ``unknown`` adds 5359 m.
    shift_m : float
        Accuracy of the step from NAD83 or NAD27 to WGS 84, metres, as `places.to_wgs84` gives it.

    Returns
    -------
    int
        Metres: the linear sum of the sources, each of which is a maximum, rounded up.

    Raises
    ------
    ValueError
        Neither or both precisions are given, or a figure is not above 0.

    References
    ----------
    Chapman & Wieczorek 2020, Georeferencing Best Practices; the linear sum follows the datum amendment of BDQ Core.
    """
    if (precision_deg is None) == (precision_m is None):
        raise ValueError("give the precision either in degrees or in metres")
    for figure in (precision_deg, precision_m, gps_accuracy_m):
        if figure is not None and not figure > 0:
            raise ValueError(f"{figure} is not above 0")
    from_precision = precision_uncertainty_m(latitude, precision_deg) if precision_deg is not None else (precision_m or 0) * math.sqrt(0.5)
    figures = place_figures()
    if gps_accuracy_m is not None:
        from_receiver = float(figures["gps_multiplier"]) * gps_accuracy_m
    elif read_on is not None and pd.Timestamp(read_on).date() >= dt.date.fromisoformat(figures["selective_availability_ended"]):
        from_receiver = float(figures["gps_default_m"])
    else:
        from_receiver = float(figures["gps_default_before_m"])
    from_datum = float(figures["datum_unknown_m"]) if not isinstance(datum, str) or datum == "unknown" else shift_m
    # A sum such as 30.000000000000004 must not cost a metre.
    return math.ceil(round(from_precision + from_receiver + from_datum, 6))


def read_places(sites: pd.DataFrame) -> tuple[list[Change], list[tuple[int, str, str]]]:
    """Read the places of sites that have a text and no numbers.

    Parameters
    ----------
    sites : DataFrame
        Typed rows of sites.

    Returns
    -------
    list of Change
        Latitude, longitude (and the datum that the text names), in the datum of the text.
    list of (row, field, reason)
        Texts that cannot be read, and zeros that stand for nothing.
    """
    changes, refused = [], []
    for row, site in sites[["latitude", "longitude", "verbatim_coordinates", "datum"]].iterrows():
        at = int(row)  # type: ignore[call-overload]
        if site["latitude"] == 0 and site["longitude"] == 0:
            refused += [(at, "latitude", NULL_PLACE), (at, "longitude", NULL_PLACE)]
        text = site["verbatim_coordinates"]
        if not isinstance(text, str) or pd.notna(site["latitude"]) or pd.notna(site["longitude"]):
            continue
        place, reason = read_place(text, _datum(site["datum"]))
        if place is None:
            refused.append((at, "verbatim_coordinates", reason))
            continue
        changes += [Change(at, name, getattr(place, name), text, place.notation) for name in AXES]
        if place.datum and _datum(site["datum"]) in (None, "unknown"):
            changes.append(Change(at, "datum", place.datum, text, "named in the text"))
    return changes, refused


def settle_places(sites: pd.DataFrame, written: pd.DataFrame) -> list[Change]:
    """Bring the places of sites to WGS 84 and work out uncertainties that nobody noted.

    Parameters
    ----------
    sites : DataFrame
        Typed rows that were accepted; a place is in the datum of its row.
    written : DataFrame of str
        The same rows as written.

    Returns
    -------
    list of Change
        Where the datum is known afterwards it is WGS84; ``verbatim_coordinates`` gets what was written if it was empty.
    """
    placed = sites[sites["latitude"].notna() & sites["longitude"].notna()]
    if placed.empty:
        return []
    north, east, added, notes = to_wgs84(placed["latitude"], placed["longitude"], placed["datum"])
    changes: list[Change] = []
    for place, (row, site) in enumerate(placed.iterrows()):
        at = int(row)  # type: ignore[call-overload]
        texts = {name: text for name, text in written.loc[row].items() if isinstance(text, str)}
        datum, note = _datum(site["datum"]), str(notes[place])
        shifted = datum in ("NAD83", "NAD27") and added[place] < float(place_figures()["datum_unknown_m"])
        if shifted:
            changes += _shift(at, site, texts, (float(north[place]), float(east[place])), note)
        given = site["coordinate_uncertainty_m"]
        if pd.isna(given):
            if "coordinate_uncertainty_m" in texts:
                # what was written is held back: nothing takes its place until a person has decided
                continue
            step_deg, step_m = _precision(texts, datum)
            # the shift of a datum that is not known is the widest there is
            radius = coordinate_uncertainty_m(site["latitude"], step_deg, precision_m=step_m, datum="WGS84", shift_m=float(added[place]))
            how = f"precision as written, receiver's accuracy and day not noted, {note}; added up"
            changes.append(Change(at, "coordinate_uncertainty_m", float(radius), "", how))
        elif shifted:
            how = f"{added[place]:.0f} m added: {note}"
            changes.append(Change(at, "coordinate_uncertainty_m", float(given + added[place]), f"{given:g}", how))
    return changes


def _datum(value: object) -> str | None:
    return value if isinstance(value, str) else None


def _shift(row: int, site: pd.Series, texts: dict[str, str], place: tuple[float, float], note: str) -> list[Change]:
    """A place in WGS 84 for one in an older datum, with what was written kept beside it."""
    numbers = " ".join(texts.get(name, "") for name in AXES).strip()
    written = texts.get("verbatim_coordinates") or f"{numbers} {site['datum']}"
    changes = [
        Change(row, name, round(value, 9), texts.get(name) or written, note)
        for name, value in zip(AXES, place, strict=True)
        if value != site[name]
    ]
    changes.append(Change(row, "datum", "WGS84", str(site["datum"]), note))
    if not texts.get("verbatim_coordinates"):
        changes.append(Change(row, "verbatim_coordinates", written, written, "kept as written"))
    return changes


def _precision(texts: dict[str, str], datum: str | None) -> tuple[float | None, float | None]:
    """Precision of what was written, in degrees or in metres: of the numbers where they stand, else of the text; 1° where nothing tells."""
    angles = [read_angle(texts[name].replace(",", "."), letters) for name, letters in AXES.items() if name in texts]
    steps = [angle.precision_deg for angle in angles if angle is not None]
    if steps:
        return max(steps), None
    place: Place | None = read_place(texts["verbatim_coordinates"], datum)[0] if "verbatim_coordinates" in texts else None
    return (1.0, None) if place is None else (place.precision_deg, place.precision_m)
