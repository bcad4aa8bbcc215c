"""What names a site in a strange sheet, where it says that the site is, and what kind of place that is."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import pandas as pd

from pipeline.mapping.column_content import Content
from pipeline.mapping.known_words import SITE_WORDS, STREAM_NAME
from pipeline.mapping.match_fields import HALF, Match
from pipeline.mapping.propose_style import ASK, NEARLY_ALL, readable_as_clock, readable_as_day

# share of the sites that may have a second place by a slip: judgement
SECOND_PLACES = 0.06
DATUM_OF_DIGITS = {"27": "NAD27", "83": "NAD83", "84": "WGS84"}
# widest spread of the longitudes of one survey in degrees, to tell a minus left out from a survey on both sides of Greenwich: judgement
ONE_SURVEY = 20
WHOLE_CODES = ("station", "location", "point")
KEPT_SECRET = "springs, seeps and caves are kept secret: say so if it is one"
HABITATS = {
    "stream": {"stream", "creek", "river", "brook", "pass", "riffle", "pool", "lotic"},
    "forest": {"litter", "leaf", "log", "board", "canopy", "vegetation"},
}


@dataclass(frozen=True)
class Line:
    """One line of a first map.

    Attributes
    ----------
    path : str
        Where it stands, such as ``visits.water_temp_c`` or ``no_find.Species``.
    value : text, list or dict
        As the map language has it.
    reason : str
        Why; empty where there is nothing to say.
    guess : bool
        Whether it must be confirmed.
    columns : tuple of str
        Columns whose cells may be shown beside it.
    """

    path: str
    value: Any
    reason: str = ""
    guess: bool = False
    columns: tuple[str, ...] = ()


def site_columns(columns: dict[str, Content], matched: dict[str, Match]) -> tuple[tuple[str, ...], str, bool]:
    """Columns that together name a site.

    Parameters
    ----------
    columns : dict of str to Content
        The columns of one sheet.
    matched : dict of str to Match
        Fields that have a column.

    Returns
    -------
    tuple of str, str, bool
        The columns (none where nothing looks like it), the reason, and whether that is more than a guess.
    """
    places = [matched[name].column for name in ("sites.latitude", "sites.longitude") if name in matched]
    used = {match.column for name, match in matched.items() if name != "sites.waterbody"}
    likely = [name for name, content in columns.items() if name not in used and _may_name_a_site(content)]
    if places:
        for size in (1, 2):
            good = [names for names in combinations(likely, size) if _one_place_each(columns, names, places)]
            if good:
                best = min(good, key=lambda names: len(_groups(columns, names)))
                said = "site" in " ".join(columns[best[0]].words) and size == 1
                return best, "each of its codes has one place" if size == 1 else "together they have one place each", said
    alone = [name for name in likely if any(word.startswith("site") or word in WHOLE_CODES for word in columns[name].words)]
    alone = [name for name in alone if columns[name].numeric < HALF] or alone
    if alone:
        return (alone[0],), "the heading says so", False
    streams = [name for name in likely if is_stream_name(columns[name])]
    parts = [name for name in likely if name not in streams and columns[name].distinct > 1]
    if streams and parts:
        return (streams[0], parts[0]), "the number is that of a part of the stream", False
    if likely:
        return (likely[0],), "nothing else looks like the code of a site", False
    return (), "no column looks like the code of a site", False


def is_stream_name(content: Content) -> bool:
    """Whether a column holds names of streams."""
    names = content.text.dropna().drop_duplicates()
    return len(names) > 0 and float(names.map(lambda one: STREAM_NAME.search(one) is not None).mean()) >= HALF


def _may_name_a_site(content: Content) -> bool:
    worded = [word for word in content.words if word in SITE_WORDS or word.startswith("site")]
    if not worded or not content.filled or content.filled < HALF * len(content.text):
        return False
    measured = content.numeric > NEARLY_ALL and not content.whole
    return not measured and readable_as_day(content) < HALF and readable_as_clock(content) < HALF


def _groups(columns: dict[str, Content], names: tuple[str, ...]) -> pd.Index:
    return pd.Index(_keys(columns, names).dropna().unique())


def _keys(columns: dict[str, Content], names: tuple[str, ...]) -> pd.Series:
    keys = columns[names[0]].text
    for name in names[1:]:
        keys = keys + "\x1f" + columns[name].text
    return keys


def _one_place_each(columns: dict[str, Content], names: tuple[str, ...], places: list[str]) -> bool:
    written = pd.DataFrame({str(at): columns[name].text for at, name in enumerate(places)}).assign(key=_keys(columns, names)).dropna()
    if written.empty:
        return False
    different = written.drop_duplicates().groupby("key").size()
    return bool((different > 1).mean() <= SECOND_PLACES)


def place_lines(columns: dict[str, Content], matched: dict[str, Match]) -> list[Line]:
    """Lines for the coordinates and the datum of the sites.

    Returns
    -------
    list of Line
        Empty where the sheet has no places. No coordinate stands in them.
    """
    latitude, longitude = matched.get("sites.latitude"), matched.get("sites.longitude")
    if latitude is None or longitude is None:
        return []
    lines = []
    east = columns[longitude.column].numbers.dropna()
    if _minus_left_out(east):
        cells = [{"column": latitude.column, "after": "N"}, {"column": longitude.column, "part": "^-?(.+)$", "after": "W"}]
        share = float((east > 0).mean())
        reason = f"{share:.0%} of the longitudes lack the minus that the others have; N and W are put behind the digits"
        lines.append(Line("sites.verbatim_coordinates", {"columns": cells, "join": " "}, reason, guess=True))
    else:
        west = "" if (east <= 0).all() else "longitudes without a minus lie east of Greenwich; "
        for name, match in (("latitude", latitude), ("longitude", longitude)):
            reason = (west if name == "longitude" else "") + match.reason
            lines.append(Line(f"sites.{name}", match.column, reason, guess=not match.sure or (name == "longitude" and bool(west))))
        if second := _second_pair(columns, {latitude.column, longitude.column}):
            value = {"columns": list(second), "join": " "}
            lines.append(Line("sites.verbatim_coordinates", value, "a second place of each site, with letters", guess=True))
    return [*lines, _datum(matched, latitude.column, longitude.column)]


def _minus_left_out(east: pd.Series) -> bool:
    """Whether longitudes of one survey stand with and without their minus."""
    signed, bare = east[east < 0], east[east > 0]
    if signed.empty or bare.empty:
        return False
    middle = float(east.abs()[east != 0].median())
    return middle > ONE_SURVEY and bool(((signed.abs() - middle).abs() < ONE_SURVEY).mean() > HALF)


def _second_pair(columns: dict[str, Content], taken: set[str]) -> tuple[str, str] | None:
    def lettered(letters: str) -> list[str]:
        return [name for name, one in columns.items() if name not in taken and one.numeric == 0 and one.angles(letters) > NEARLY_ALL]

    north, east = lettered("NS"), lettered("EW")
    both = set(north) & set(east)
    north, east = [name for name in north if name not in both], [name for name in east if name not in both]
    return (north[0], east[0]) if north and east else None


def _datum(matched: dict[str, Match], *headings: str) -> Line:
    if "sites.datum" in matched:
        match = matched["sites.datum"]
        return Line("sites.datum", match.column, match.reason, guess=not match.sure, columns=(match.column,))
    for digits, datum in DATUM_OF_DIGITS.items():
        if any(digits in heading for heading in headings):
            return Line("sites.datum", {"constant": datum}, f"{digits} stands in the heading of the place", guess=True)
    return Line("sites.datum", {"constant": "unknown"}, "the sheet states none; the uncertainty of the places grows")


def habitat_line(columns: dict[str, Content], waterbody: str, water: bool) -> Line:
    """Line for the habitat: stream where there is water, forest where the headings say so, else a question."""
    words = {word for content in columns.values() for word in content.words}
    if water or waterbody or words & HABITATS["stream"]:
        return Line(
            "sites.habitat",
            {"constant": "stream"},
            f"the sheet speaks of water or of streams; {KEPT_SECRET}",
            True,
        )
    if words & HABITATS["forest"]:
        return Line(
            "sites.habitat",
            {"constant": "forest"},
            f"the sheet speaks of litter, logs or boards, not of water; {KEPT_SECRET}",
            True,
        )
    return Line("sites.habitat", {"constant": ASK}, "the sheet does not say what kind of place was searched")
