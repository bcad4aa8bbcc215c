"""Which datum a projected place was written in, where the sheet does not say and a second place of the same site decides it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.checking.outcome import Checked
from pipeline.formulas.places import distance_m, to_wgs84
from pipeline.reading.coordinates import read_place

DATUMS = ("WGS84", "NAD83", "NAD27")
# Judgements: the nearest reading must lie within the first, and all others at least so many times farther off.
FITS_M, TIMES = 100.0, 4.0


def datum_that_fits(checked: Checked, known: dict[str, pd.DataFrame]) -> list[str]:
    """Compare projected places without a datum with a second place of the same sites.

    Parameters
    ----------
    checked : Checked
        Outcome of a check.
    known : dict of str to DataFrame
        Current rows of the book.

    Returns
    -------
    list of str
        Sentences for a person; empty where no site has both. Nothing is changed by it.
    """
    candidates = checked.tables["sites"].candidates
    rows = _both_places(candidates.typed, candidates.text, known["sites"])
    if rows.empty:
        return []
    distances = {}
    for datum in DATUMS:
        read = [place for place, _ in (read_place(text, datum) for text in rows["text"]) if place is not None]
        if len(read) < len(rows):
            return []
        north, east, _, _ = to_wgs84([place.latitude for place in read], [place.longitude for place in read], [datum] * len(read))
        distances[datum] = distance_m(north, east, rows["latitude"], rows["longitude"])
    medians = {datum: float(np.median(far)) for datum, far in distances.items()}
    said = ", ".join(f"as {datum} {far:.0f} m" for datum, far in medians.items())
    nearest = min(medians.values())
    # WGS 84 and NAD83 lie within a metre or two of each other: both may fit
    fitting = [datum for datum, far in medians.items() if far <= max(TIMES * nearest, 5.0)]
    what = f"{len(rows)} sites have a projected place without a datum and a second place. Between the two lie, in the median, {said}."
    if nearest > FITS_M or len(fitting) == len(DATUMS):
        return [f"{what} That does not decide the datum; leave it unknown."]
    return [f"{what} {' or '.join(fitting)} fits: write it as the datum in the map if you can believe it."]


def _both_places(typed: pd.DataFrame, text: pd.DataFrame, book: pd.DataFrame) -> pd.DataFrame:
    """Sites with a projected text that needs a datum, and with degrees from another cell, another file or the book."""
    silent = typed["datum"].isna() | (typed["datum"] == "unknown")
    projected = typed[silent & typed["verbatim_coordinates"].map(_needs_datum).astype("bool")]
    first = projected.dropna(subset=["site_id"]).drop_duplicates("site_id").set_index("site_id")["verbatim_coordinates"]
    written = text[["site_id", "latitude", "longitude"]].assign(latitude=typed["latitude"], longitude=typed["longitude"])
    degrees = pd.concat([written, book[["site_id", "latitude", "longitude"]]]).dropna().drop_duplicates("site_id").set_index("site_id")
    return pd.DataFrame({"text": first}).join(degrees, how="inner").reset_index(drop=True)


def _needs_datum(text: object) -> bool:
    place = read_place(text)[0] if isinstance(text, str) else None
    # a precision in metres: the place stands on a grid
    return place is not None and place.precision_m is not None and not place.datum
