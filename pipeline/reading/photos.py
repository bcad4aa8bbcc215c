"""What photos say of when and where they were taken, offered for finds; it is written under out/private and never published."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from pipeline.errors import RillbookError
from pipeline.formulas.places import place_figures

SUFFIXES = (".jpg", ".jpeg", ".tif", ".tiff", ".png", ".webp", ".heic")
COLUMNS = ("photo", "taken_at", "taken_utc", "latitude", "longitude", "accuracy_m", "said")
OFFER_COLUMNS = (*COLUMNS, "find_id", "visit_id", "offered")
# Tags of Exif 2.32 (CIPA DC-008): the block of the camera, that of the receiver, and what stands in them
CAMERA, RECEIVER, TAKEN_AT, OFFSET = 0x8769, 0x8825, 0x9003, 0x9011
NORTH, LATITUDE, EAST, LONGITUDE, ERROR_M = 1, 2, 3, 4, 31


def read_photos(folder: Path, time_zone: str) -> pd.DataFrame:
    """Read time and place from the photos of a folder; the files are not touched.

    Parameters
    ----------
    folder : Path
        Searched with its subfolders.
    time_zone : str
        Zone of a camera that does not state one: the book's.

    Returns
    -------
    DataFrame
        ``photo`` (path below the folder), ``taken_at`` (as the camera wrote it), ``taken_utc``, ``latitude``, ``longitude`` (degrees,
        WGS 84), ``accuracy_m`` (as the receiver showed it), ``said`` (what is missing).

    Raises
    ------
    RillbookError
        There is no such folder, or no photo in it.
    """
    if not folder.is_dir():
        raise RillbookError("there is no such folder.", "Name the folder of the photos.", str(folder))
    paths = sorted(path for path in folder.rglob("*") if path.suffix.lower() in SUFFIXES and path.is_file())
    if not paths:
        raise RillbookError(f"it holds no photo ({', '.join(SUFFIXES)}).", "Name the folder of the photos.", str(folder))
    rows = [{"photo": path.relative_to(folder).as_posix(), **_read(path, time_zone)} for path in paths]
    frame = pd.DataFrame(rows, columns=list(COLUMNS))
    return frame.assign(taken_utc=pd.to_datetime(frame["taken_utc"]).astype("datetime64[us]"))


def _read(path: Path, time_zone: str) -> dict[str, Any]:
    from PIL import Image, UnidentifiedImageError

    nothing = {"taken_at": "", "taken_utc": pd.NaT, "latitude": None, "longitude": None, "accuracy_m": None}
    try:
        with Image.open(path) as image:
            tags = image.getexif()
            camera, receiver = tags.get_ifd(CAMERA), tags.get_ifd(RECEIVER)
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return {**nothing, "said": "cannot be read as a photo"}
    written, offset = str(camera.get(TAKEN_AT, "")).strip("\x00 "), str(camera.get(OFFSET, "")).strip("\x00 ")
    moment = _moment(written, offset, time_zone)
    latitude, longitude = _degrees(receiver, LATITUDE, NORTH, "NS", 90), _degrees(receiver, LONGITUDE, EAST, "EW", 180)
    placed = latitude is not None and longitude is not None and (latitude, longitude) != (0, 0)
    said = [] if not pd.isna(moment) else ["no time" if not written else f"its time {written!r} cannot be read"]
    said += [] if placed else ["no place"]
    return {
        "taken_at": f"{written} {offset}".strip(),
        "taken_utc": moment,
        "latitude": latitude if placed else None,
        "longitude": longitude if placed else None,
        "accuracy_m": _number(receiver.get(ERROR_M)) if placed else None,
        "said": ", ".join(said),
    }


def _moment(written: str, offset: str, time_zone: str) -> Any:
    """Instant in UTC; an hour that daylight saving repeats is standard time, as in visits."""
    if not re.fullmatch(r"\d{4}:\d\d:\d\d \d\d:\d\d:\d\d", written, re.ASCII):
        return pd.NaT
    try:
        local = datetime.strptime(written, "%Y:%m:%d %H:%M:%S")
        if re.fullmatch(r"[+-]\d\d:\d\d", offset, re.ASCII):
            return pd.Timestamp(f"{local.isoformat()}{offset}").tz_convert("UTC").tz_localize(None)
        aware = pd.Timestamp(local).tz_localize(time_zone, ambiguous=False, nonexistent="shift_forward")
    except ValueError:
        return pd.NaT
    return aware.tz_convert("UTC").tz_localize(None)


def _number(value: object) -> float | None:
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if 0 <= number < 1e9 else None


def _degrees(receiver: Mapping[int, Any], tag: int, side: int, letters: str, limit: int) -> float | None:
    """Degrees of three fractions and a letter; None where one of them is missing or out of its span."""
    parts, letter = receiver.get(tag), str(receiver.get(side, "")).strip("\x00 ").upper()
    if not isinstance(parts, tuple) or len(parts) != 3 or letter not in tuple(letters):
        return None
    numbers = [_number(part) for part in parts]
    if numbers[0] is None or numbers[1] is None or numbers[2] is None or numbers[1] >= 60 or numbers[2] >= 60:
        return None
    degrees = round(numbers[0] + numbers[1] / 60 + numbers[2] / 3600, 7)
    return None if degrees > limit else -degrees if letter == letters[1] and degrees else degrees


def offer_photos(photos: pd.DataFrame, finds: pd.DataFrame) -> pd.DataFrame:
    """Say which finds each photo may show.

    Parameters
    ----------
    photos : DataFrame
        As :func:`read_photos`.
    finds : DataFrame
        ``find_id``, ``visit_id``, ``photo``, ``found_utc``.

    Returns
    -------
    DataFrame
        `photos` with ``find_id``, ``visit_id`` and ``offered``: by name where a find notes the file, else by time within the minutes of
        data/reference/places.csv (judgement), a row for each such find; empty where there is none. An offer, never stored by itself.
    """
    near = pd.Timedelta(minutes=float(place_figures()["beside_minutes"]))
    names: dict[str, list[Any]] = {}
    for find in finds[finds["photo"].notna()].itertuples():
        for part in re.split(r"[|;,\s]+", find.photo):
            names.setdefault(Path(part).name.casefold(), []).append(find)
    rows = []
    for photo in photos.to_dict("records"):
        noted = names.get(Path(photo["photo"]).name.casefold(), [])
        offers = [(find.find_id, find.visit_id, "its name is noted at the find") for find in noted]
        if not offers and not pd.isna(photo["taken_utc"]):
            apart = (finds["found_utc"] - photo["taken_utc"]).abs()
            for at in apart[apart <= near].sort_values(kind="stable").index:
                minutes = apart[at].total_seconds() / 60
                offers.append((finds.at[at, "find_id"], finds.at[at, "visit_id"], f"{minutes:.1f} min from the time of the find"))
        for find_id, visit_id, why in offers or [("", "", "")]:
            rows.append({**photo, "find_id": find_id, "visit_id": visit_id, "offered": why})
    return pd.DataFrame(rows, columns=list(OFFER_COLUMNS))
