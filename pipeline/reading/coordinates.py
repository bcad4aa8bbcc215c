"""Places as people write them: degrees in any notation, UTM with its zone; what can be read in two ways is refused."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.formulas.places import from_utm

NOTATIONS = ("decimal degrees", "degrees and minutes", "degrees, minutes and seconds")
WORDS = (
    (r"\bDEG(?:REES?|S)?\b\.?", "°"), (r"\bMIN(?:UTES?|S)?\b\.?", "'"), (r"\bSEC(?:ONDS?|S)?\b\.?", '"'),
    (r"\bNORTH(?:ING)?\b", "N"), (r"\bSOUTH\b", "S"), (r"\bEAST(?:ING)?\b", "E"), (r"\bWEST\b", "W"),
)  # fmt: skip
SIGNS = str.maketrans({"−": "-", "º": "°", "˚": "°", "’": "'", "‘": "'", "′": "'", "´": "'", "`": "'", "”": '"', "“": '"', "″": '"'})

_BODY = (
    r"(\d{1,3}(?:\.\d*)?)\s*°?"
    r"|(\d{1,3})(?:\s*[°:]\s*|\s+)(\d{1,2}(?:\.\d*)?)\s*'?"
    r"|(\d{1,3})(?:\s*[°:]\s*|\s+)(\d{1,2})(?:\s*[':]\s*|\s+)(\d{1,2}(?:\.\d*)?)\s*\"?"
)
_ANGLE = re.compile(_BODY, re.ASCII)
_LETTERS_AFTER = re.compile(r"([^A-Z]+)([NSEW])[\s,;/]*([^A-Z]+)([NSEW])")
_LETTERS_BEFORE = re.compile(r"([NSEW])([^A-Z]+?)[\s,;/]*([NSEW])([^A-Z]+)")
_NUMBER = r"[+-]?\d{1,3}\.\d+"
_PLAIN = re.compile(rf"({_NUMBER})\s*°?(?:\s*[,;/]\s*|\s+)({_NUMBER})\s*°?", re.ASCII)
_SIGNED = re.compile(r"([+-]?)(\d[^,;/]*?)(?:\s*[,;/]\s*|\s+)([+-]?)(\d+\s*°[^,;/]*)", re.ASCII)
_LABELLED = re.compile(r"LAT(?:ITUDE)?[\s.:=]*(.+?)[\s,;]*\bLONG?(?:ITUDE)?[\s.:=]*(.+)")
_DATUM = re.compile(r"[\s,;(\[]*\b(WGS|NAD)[\s-]*(84|83|27)[)\]]?$")

_ZONE = r"(?:UTM[\s:,]*)?(?:ZONE\s*)?(?P<zone>\d{1,2})\s*(?P<side>NORTH|SOUTH|[C-HJ-NP-X])?"
_METRES = r"(?:(?P<{0}a>[EN])\s*(?P<{0}x>\d{{5,7}}(?:\.\d+)?)\s*M?|(?P<{0}y>\d{{5,7}}(?:\.\d+)?)\s*M?\s*(?P<{0}b>[EN])?)"
_ONE, _TWO = _METRES.format("f"), _METRES.format("s")
_UTM_ZONE_FIRST = re.compile(rf"{_ZONE}[\s,;:]+{_ONE}[\s,;/]+{_TWO}", re.ASCII)
_UTM_ZONE_LAST = re.compile(rf"(?:UTM[\s:]*)?{_ONE}[\s,;/]+{_TWO}[\s,;(]+{_ZONE}\)?", re.ASCII)
_MGRS = re.compile(r"(?:MGRS\s*)?\d{1,2}\s*[C-HJ-NP-X]\s*[A-HJ-NP-Z]{2}\s*\d{2,5}\s*\d{2,5}", re.ASCII)
_METRES_ALONE = re.compile(r"\D*\d{5,7}(?:\.\d+)?\D+\d{5,7}(?:\.\d+)?\D*", re.ASCII)

NOT_A_PLACE = "it is no place in a notation that is known here"
LETTERS_UNCLEAR = "its letters do not name one latitude and one longitude without a sign"
OFF_THE_GLOBE = "its numbers lie off the globe"
NULL_PLACE = "0, 0 lies in the sea off Africa: zeros here mean that nothing was noted"
WHICH_DEGREES = "without decimals or letters it could be anything"
ZONE_MISSING = "metres need their UTM zone and the word north or south; other grids are not read"
SOUTH_OR_BAND = "S after a zone may mean the south, or the band from 32 to 40 degrees north"
WRONG_BAND = "its northing does not lie in the band that its letter names"
EASTING_FIRST = "a UTM place is an easting of six digits and then a northing, unless letters say otherwise"
GRID_REFERENCE = "a grid reference (MGRS) is not read"
TWO_DATUMS = "it names another datum than the datum field"
# Bands of 8 degrees from 80 degrees south on, without I and O
_BANDS = "CDEFGHJKLMNPQRSTUVWX"
_EASTINGS = (100_000.0, 1_000_000.0)


@dataclass(frozen=True)
class Angle:
    """A latitude or longitude as written.

    Attributes
    ----------
    degrees : float
        North and east positive.
    precision_deg : float
        One step of the last digit written, degrees; zeros at the end count, since someone wrote them.
    notation : str
        One of `NOTATIONS`.
    """

    degrees: float
    precision_deg: float
    notation: str


@dataclass(frozen=True)
class Place:
    """A place as written, in the datum of the text.

    Attributes
    ----------
    latitude, longitude : float
        Degrees.
    precision_deg, precision_m : float or None
        One step of the last digit, in degrees or in metres; one of the two.
    notation : str
        How it was written.
    datum : str
        Datum that the text itself names, empty where it names none.
    """

    latitude: float
    longitude: float
    precision_deg: float | None
    precision_m: float | None
    notation: str
    datum: str = ""


def read_angle(text: str, letters: str) -> Angle | None:
    """Read one latitude or one longitude.

    Parameters
    ----------
    text : str
        Such as ``36.20417``, ``36.20417000N``, ``N 36 12 15.5``, ``-81°54.15'``.
    letters : str
        Letters that it may carry, the positive one first: ``NS`` or ``EW``.

    Returns
    -------
    Angle or None
        None where it cannot be read, or can be read in more than one way.
    """
    cleaned = _clean(text)
    found = re.fullmatch(r"([NSEW]?)\s*([+-]?)\s*([^A-Z+-]+?)\s*([NSEW]?)", cleaned)
    if not found or (found[1] and found[4]) or (found[2] and (found[1] or found[4])):
        return None
    letter = found[1] or found[4]
    if letter and letter not in letters:
        return None
    angle = _body(found[3], 90 if letters == "NS" else 180)
    return None if angle is None else _signed(angle, found[2] == "-" or letter == letters[1])


def read_place(text: str, datum: str | None = None) -> tuple[Place | None, str]:
    """Read a place as it stands in the notes.

    Parameters
    ----------
    text : str
        Latitude and longitude in one of the notations of docs/typing.md, or UTM with its zone and hemisphere; it may end in a datum.
    datum : str, optional
        Code of the vocabulary ``datum`` that stands beside the text; it chooses the ellipsoid of UTM.

    Returns
    -------
    Place or None, str
        None with the reason, in words that follow "cannot be read as a place:".
    """
    upper = " ".join(text.translate(SIGNS).replace("''", '"').upper().split())
    named = _DATUM.search(upper)
    own = named[1] + named[2] if named else ""
    if own and datum and datum not in ("unknown", own):
        return None, TWO_DATUMS
    upper = upper[: named.start()].strip() if named else upper
    utm = _UTM_ZONE_FIRST.fullmatch(_metric(upper)) or _UTM_ZONE_LAST.fullmatch(_metric(upper))
    place, reason = _utm(utm, own or datum or "WGS84") if utm else _degrees(upper)
    if place is None:
        return None, reason
    if place.latitude == 0 and place.longitude == 0:
        return None, NULL_PLACE
    return Place(place.latitude, place.longitude, place.precision_deg, place.precision_m, place.notation, own), ""


def read_verbatim_coordinates(text: object) -> tuple[float, float] | None:
    """Latitude and longitude of a place as it stands in the notes, degrees in its own datum; None where it cannot be read."""
    place = read_place(text)[0] if isinstance(text, str) else None
    return None if place is None else (place.latitude, place.longitude)


def _clean(text: str) -> str:
    cleaned = text.translate(SIGNS).replace("''", '"').upper()
    for word, sign in WORDS:
        cleaned = re.sub(word, sign, cleaned)
    return " ".join(cleaned.split())


def _metric(upper: str) -> str:
    """Letters for easting and northing; north and south stay words, because S is a band as well."""
    return re.sub(r"\bEAST(?:ING)?\b[:=]?", "E", re.sub(r"\bNORTHING\b[:=]?", "N", upper))


def _body(text: str, limit: int) -> Angle | None:
    """Degrees, with or without minutes and seconds, without sign or letter."""
    found = _ANGLE.fullmatch(text.strip())
    if found is None:
        return None
    parts = [part for part in found.groups() if part is not None]
    numbers = [float(part) for part in parts]
    if any(number >= 60 for number in numbers[1:]):
        return None
    degrees = sum(number / 60**place for place, number in enumerate(numbers))
    step: float = 10.0 ** -len(parts[-1].partition(".")[2]) / 60 ** (len(parts) - 1)
    return Angle(degrees, step, NOTATIONS[len(parts) - 1]) if degrees <= limit else None


def _signed(angle: Angle, negative: bool) -> Angle:
    return Angle(-angle.degrees if negative and angle.degrees else angle.degrees, angle.precision_deg, angle.notation)


def _degrees(upper: str) -> tuple[Place | None, str]:
    cleaned = _clean(upper)
    if labelled := _LABELLED.fullmatch(cleaned):
        return _pair(read_angle(labelled[1], "NS"), read_angle(labelled[2], "EW"))
    if plain := _PLAIN.fullmatch(cleaned):
        first, second = (read_angle(part, "EW") for part in plain.groups())
        if first is None or second is None or abs(first.degrees) > 90:
            return None, OFF_THE_GLOBE
        return _pair(first, second)
    after, before = _LETTERS_AFTER.fullmatch(cleaned), _LETTERS_BEFORE.fullmatch(cleaned)
    if after or before:
        body1, letter1, body2, letter2 = after.groups() if after else (before[2], before[1], before[4], before[3])  # type: ignore[index]
        if {letter1 in "NS", letter2 in "NS"} != {True, False} or any(sign in body for body in (body1, body2) for sign in "+-"):
            return None, LETTERS_UNCLEAR
        north, east = ((body1, letter1), (body2, letter2)) if letter1 in "NS" else ((body2, letter2), (body1, letter1))
        return _pair(read_angle(north[0] + north[1], "NS"), read_angle(east[0] + east[1], "EW"))
    if (signed := _SIGNED.fullmatch(cleaned)) and "°" in signed[2]:
        return _pair(read_angle(signed[1] + signed[2], "NS"), read_angle(signed[3] + signed[4], "EW"))
    return None, _why(cleaned)


def _why(cleaned: str) -> str:
    """Why a text that fits no notation does not."""
    if _MGRS.fullmatch(cleaned):
        return GRID_REFERENCE
    if _METRES_ALONE.fullmatch(cleaned):
        return ZONE_MISSING
    if re.search(r"\d.*[NSEW]|[NSEW].*\d", cleaned) and not re.search(r"[A-Z]{2}", cleaned):
        return LETTERS_UNCLEAR
    return WHICH_DEGREES if re.fullmatch(r"[\d\s,;/+.-]+", cleaned) else NOT_A_PLACE


def _pair(latitude: Angle | None, longitude: Angle | None) -> tuple[Place | None, str]:
    if latitude is None or longitude is None:
        return None, NOT_A_PLACE
    worse = max(latitude, longitude, key=lambda one: one.precision_deg)
    return Place(latitude.degrees, longitude.degrees, worse.precision_deg, None, worse.notation), ""


def _utm(found: re.Match[str], datum: str) -> tuple[Place | None, str]:
    zone, side = int(found["zone"]), found["side"] or ""
    written = [(found[f"{one}a"] or found[f"{one}b"] or "", found[f"{one}x"] or found[f"{one}y"]) for one in "fs"]
    letters = "".join(letter for letter, _ in written)
    if letters not in ("", "EN", "NE"):
        return None, LETTERS_UNCLEAR
    texts = [text for _, text in (reversed(written) if letters == "NE" else written)]
    easting, northing = float(texts[0]), float(texts[1])
    if not 1 <= zone <= 60 or not side:
        return None, ZONE_MISSING
    if side == "S":
        return None, SOUTH_OR_BAND
    if not _EASTINGS[0] <= easting < _EASTINGS[1] or northing > 10_000_000:
        return None, EASTING_FIRST
    north = side == "NORTH" or (side != "SOUTH" and side >= "N")
    place = from_utm(easting, northing, zone, north, datum)
    if place is None or abs(place[0]) > 84.5:
        return None, OFF_THE_GLOBE
    if side not in ("N", "NORTH", "SOUTH") and not _in_band(place[0], side):
        return None, WRONG_BAND
    step: float = 10.0 ** -min(len(text.partition(".")[2]) for text in texts)
    outside = abs(place[1] - (6 * zone - 183)) > 3.5
    notation = f"UTM {zone} {'north' if north else 'south'}{', outside its zone' if outside else ''}"
    return Place(place[0], place[1], None, step, notation), ""


def _in_band(latitude: float, band: str) -> bool:
    south = -80 + 8 * _BANDS.index(band)
    # a tenth of a degree: whoever stands near the edge may have copied the neighbour's letter
    return south - 0.1 <= latitude <= south + (12 if band == "X" else 8) + 0.1
