"""From the book's rows to rows that may be shown to everyone.

All published files are made of what this module returns, and of nothing else.
"""

from __future__ import annotations

import hmac
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from itertools import repeat

import numpy as np
import pandas as pd

from pipeline.formulas.grid_squares import WITHHELD, public_uncertainty_m, square_centre
from pipeline.publishing.coarse import coarsened
from pipeline.publishing.shown import Shown
from pipeline.publishing.site_squares import NO_PLACE, SECRET_MICROHABITATS, SECRET_STEP, SIDES, is_finer, site_squares, taxon_classes
from pipeline.publishing.site_squares import BookRows as BookRows
from pipeline.settings import Settings
from schemas.public import public_fields
from schemas.vocabulary import EGGS, codes_with

NEST_MICROHABITATS = codes_with("microhabitat", "nest")
CHANCE = "chance"
MOVED = "moved"
QUANTITIES = ("visits", "finds", "availability")
DOUBTFUL = codes_with("id_certainty", "doubtful")


@dataclass(frozen=True)
class Withheld:
    """What the keeper of the book is told and nobody else.

    Attributes
    ----------
    counts : dict of str to int
        Rows that were left out, by reason.
    shown : dict of str to Shown
        How each site has been published, now or before; kept for the next time.
    coarser : list of str
        Sites whose class is coarser now than they were published before. What was published cannot be taken back.
    moved : list of str
        Sites that lie more than a square away from where they were published: a new square, new codes, and no visit from before.
    codes : DataFrame
        `kind` (``visit``, ``find``), `code` in the book and `public_code`, for those who ask for a record.
    """

    counts: dict[str, int]
    shown: dict[str, Shown]
    coarser: list[str]
    moved: list[str]
    codes: pd.DataFrame


def opaque(key: bytes, kind: str, code: str, step: str) -> str:
    """A stable public code for a row of the book.

    Parameters
    ----------
    key : bytes
        The book's secret; without it nobody can tell which of two known codes a public one belongs to.
    kind, code, step : str
        Kind of row, its code in the book, and the grid step, with a number where the site moved: a row that moves to another square gets a
        new code, so that its old place does not cling to it.

    Returns
    -------
    str
        A UUID of version 8 (RFC 9562) as a URN, cut from HMAC-SHA-256.
    """
    digest = _keyed(key).copy()
    digest.update("\0".join((kind, code, step)).encode())
    digits = digest.hexdigest()[:32]
    variant = int(digits[16], 16) & 0x3 | 0x8
    return f"urn:uuid:{digits[:8]}-{digits[8:12]}-8{digits[13:16]}-{variant:x}{digits[17:20]}-{digits[20:]}"


@lru_cache(maxsize=1)
def _keyed(key: bytes) -> hmac.HMAC:
    """The start of every code: to begin with the key anew takes half the time of a code."""
    return hmac.new(key, digestmod="sha256")


def public_rows(
    rows: BookRows, settings: Settings, key: bytes, published: Mapping[str, Shown], joint: Mapping[str, str] | None = None
) -> tuple[dict[str, pd.DataFrame], Withheld]:
    """Make the rows that may be published.

    Parameters
    ----------
    rows : BookRows
    settings : Settings
    key : bytes
        The book's secret for public codes.
    published : mapping of str to Shown
        How sites were published before, by site code.
    joint : mapping of str to str, optional
        Coarsest class of other books of the same places, by site code.

    Returns
    -------
    dict of str to DataFrame
        The tables `taxa`, `visits`, `finds`, `absences` and `availability` with the columns of `schemas.public`, ordered by square.
    Withheld
        What was left out and what to remember; for the keeper of the book alone.

    Notes
    -----
    Nothing in the tables depends on where in its square a site lies, nor on the order of rows. Nothing is random: shifted places are
    made up, squares stay true (Chapman 2020).
    """
    places = site_squares(rows, settings, published, joint)
    places["salt"] = [one.salt for one in places["shown"]]
    classes = taxon_classes(settings.taxa)
    visits = _without_silent(rows.visits.merge(places, on="site_id"))
    shown = visits[visits["left_out"] == ""].copy()
    shown["event_id"] = [opaque(key, "visit", code, salt) for code, salt in zip(shown["visit_id"], shown["salt"], strict=True)]
    finds = _with_reasons(rows.finds.merge(shown[["visit_id", "event_id", "step", "salt"]], on="visit_id"), classes)
    finds = finds.assign(occurrence_id=_opaque_finds(finds, key))
    out_of_sight = _visits_with_more_than_shown(rows, finds, settings.taxa)
    shown = shown[~((shown["protocol"] == CHANCE) & ~shown["event_id"].isin(finds.loc[finds["why"] == "", "event_id"]))]
    public_visits = _visits(shown, classes, out_of_sight)
    tables = {
        "visits": public_visits,
        "finds": _in_order(finds[finds["why"] == ""], public_visits, "occurrence_id", "finds"),
        "absences": _absences(shown, public_visits, finds, key),
        "availability": _points(rows.availability, shown, public_visits, key),
    }
    tables = {table: coarsened(table, frame) if table in QUANTITIES else frame for table, frame in tables.items()}
    tables["taxa"] = _taxa(settings.taxa, tables)
    counts = _counts(rows, visits, finds)
    seen = places[places["site_id"].isin(shown["site_id"])]
    now = {**published, **dict(zip(seen["site_id"], seen["shown"], strict=True))}
    # a site that moved is remembered as moved, also while none of its visits may be shown
    now |= {site: one for site, one in zip(places["site_id"], places["shown"], strict=True) if site in published}
    coarser = sorted(site for site, one in published.items() if site in now and is_finer(one.step, now[site].step))
    moved = sorted(site for site, one in published.items() if now[site].codes > one.codes)
    return tables, Withheld(counts, now, coarser, moved, _codes(shown, finds))


def _without_silent(visits: pd.DataFrame) -> pd.DataFrame:
    """Visits, with those left out from which one could tell in which square their site was shown before it moved."""
    days = pd.to_datetime(visits["visit_date"]).dt.strftime("%Y-%m-%d")
    silent = days <= pd.Series([one.silent_to for one in visits["shown"]], index=visits.index, dtype="str")
    return visits.assign(left_out=visits["left_out"].mask(silent & (visits["left_out"] == ""), MOVED))


def _opaque_finds(finds: pd.DataFrame, key: bytes) -> pd.Series:
    """Public codes of the finds that are not left out; the others have none."""
    kept = finds[finds["why"] == ""]
    named = [opaque(key, "find", code, salt) for code, salt in zip(_each(kept["find_id"]), _each(kept["salt"]), strict=True)]
    return pd.Series(named, index=kept.index, dtype="str").reindex(finds.index)


def _codes(shown: pd.DataFrame, finds: pd.DataFrame) -> pd.DataFrame:
    kept = finds[(finds["why"] == "") & finds["event_id"].isin(shown["event_id"])]
    columns = {"visit": shown[["visit_id", "event_id"]], "find": kept[["find_id", "occurrence_id"]]}
    parts = [rows.set_axis(["code", "public_code"], axis=1).assign(kind=kind) for kind, rows in columns.items()]
    return pd.concat(parts, ignore_index=True)[["kind", "code", "public_code"]].astype("str")


def _with_reasons(finds: pd.DataFrame, classes: Mapping[str, str]) -> pd.DataFrame:
    """Why a find is left out, as `why`: ``egg`` (eggs and nests), ``taxon`` (its class is coarser than the square), ``seep``, or empty."""
    egg = finds["life_stage"].isin(EGGS) | finds["microhabitat"].isin(NEST_MICROHABITATS)
    silent = _finer(finds["step"], [classes.get(taxon, WITHHELD) for taxon in _each(finds["taxon"])])
    seep = finds["microhabitat"].isin(SECRET_MICROHABITATS) & _finer(finds["step"], repeat(SECRET_STEP))
    return finds.assign(why=np.select([silent, egg, seep], ["taxon", "egg", "seep"], ""))


def _each(column: pd.Series) -> np.ndarray:
    """The values of a column of text, to go through one by one: from pandas itself each takes several times as long."""
    return column.to_numpy(dtype=object)


def _finer(steps: pd.Series, wanted: Iterable[str]) -> np.ndarray:
    """Whether each step shows more than a class allows; each distinct pair is asked once."""
    pairs = list(zip(_each(steps), wanted, strict=False))
    told = {pair: is_finer(*pair) for pair in set(pairs)}
    return np.array([told[pair] for pair in pairs], dtype=bool)


def _visits_with_more_than_shown(rows: BookRows, finds: pd.DataFrame, taxa: pd.DataFrame) -> set[str]:
    """Visits of which no complete list can be published; why not is never said, for one reason is that eggs were there.

    A taxon whose class is coarser than the square is never named there, so its finds take nothing from the list of the others.
    """
    whole = dict(zip(taxa["code"], taxa["rank"].isin(codes_with("taxon_rank", "species")), strict=True))
    doubtful = finds["id_certainty"].isin(DOUBTFUL) | ~finds["taxon"].map(whole).fillna(False).astype(bool)
    unfinished = set(finds.loc[(doubtful & (finds["why"] != "taxon")) | finds["why"].isin(["egg", "seep"]), "visit_id"])
    held = set(rows.visits.loc[rows.visits["incomplete"].fillna(False).astype(bool), "visit_id"]) if "incomplete" in rows.visits else set()
    return unfinished | held | set(rows.unsettled)


def _visits(shown: pd.DataFrame, classes: Mapping[str, str], out_of_sight: set[str]) -> pd.DataFrame:
    squares = list(shown[SIDES].itertuples(index=False, name=None))
    centres, drawn = ({sides: made(sides) for sides in set(squares)} for made in (square_centre, wkt))
    own = list(zip(squares, shown["uncertainty_m"], strict=True))
    radius = {both: public_uncertainty_m(*both) for both in set(own)}
    asked = list(zip(shown["target_taxa"], shown["step"], strict=True))
    named = {both: _named_targets(*both, classes) for both in set(asked)}
    complete = shown["all_counted"].mask(shown["visit_id"].isin(out_of_sight))
    table = shown.assign(
        month=pd.to_datetime(shown["visit_date"]).dt.strftime("%Y-%m"),
        grid_step_deg=shown["step"],
        latitude=[centres[one][0] for one in squares],
        longitude=[centres[one][1] for one in squares],
        coordinate_uncertainty_m=pd.array([radius[both] for both in own], dtype="Int64"),
        footprint_wkt=[drawn[one] for one in squares],
        target_taxa=[named[both] for both in asked],
        all_counted=complete.astype("boolean"),
    )
    ordered = table.sort_values(["south", "west", "step", "month", "event_id"], ignore_index=True)
    return ordered[list(public_fields("visits"))]


def wkt(square: tuple[float, float, float, float]) -> str:
    """A grid square as WKT, counter-clockwise, longitude before latitude."""
    south, west, north, east = (f"{side:g}" for side in square)
    return f"POLYGON (({west} {south}, {east} {south}, {east} {north}, {west} {north}, {west} {south}))"


def _named_targets(text: object, step: str, classes: Mapping[str, str]) -> str | None:
    named = [code.strip() for code in text.split("|")] if isinstance(text, str) else []
    fine = sorted({code for code in named if code and not is_finer(step, classes.get(code, WITHHELD))})
    return "|".join(fine) or None


def _in_order(frame: pd.DataFrame, public_visits: pd.DataFrame, key: str, table: str) -> pd.DataFrame:
    """Rows of published visits, in the order of the visits and of their opaque codes."""
    place = pd.Index(public_visits["event_id"]).get_indexer(frame["event_id"])
    kept = frame[list(public_fields(table))][place >= 0]
    return kept.iloc[np.lexsort((pd.factorize(kept[key], sort=True)[0], place[place >= 0]))].reset_index(drop=True)


def _absences(shown: pd.DataFrame, public_visits: pd.DataFrame, finds: pd.DataFrame, key: bytes) -> pd.DataFrame:
    """Taxa that were looked for, where scope and completeness were recorded beforehand, and not found."""
    private = {event: (visit, salt) for event, visit, salt in shown[["event_id", "visit_id", "salt"]].itertuples(index=False)}
    found = set(zip(_each(finds["event_id"]), _each(finds["taxon"]), strict=True))
    stated = public_visits[public_visits["all_counted"].fillna(False).astype(bool) & public_visits["target_taxa"].notna()]
    rows = []
    for event, targets in stated[["event_id", "target_taxa"]].itertuples(index=False):
        visit, salt = private[event]
        absent = [taxon for taxon in targets.split("|") if (event, taxon) not in found]
        rows += [(opaque(key, "absence", f"{visit}\0{taxon}", salt), event, taxon) for taxon in absent]
    frame = pd.DataFrame(rows, columns=list(public_fields("absences")), dtype="str")
    return _in_order(frame, public_visits, "occurrence_id", "absences")


def _points(points: pd.DataFrame, shown: pd.DataFrame, public_visits: pd.DataFrame, key: bytes) -> pd.DataFrame:
    joined = points.merge(shown[["visit_id", "event_id", "step", "salt"]], on="visit_id")
    finer = _finer(joined["step"], repeat(SECRET_STEP))
    secret = joined["microhabitat"].isin(NEST_MICROHABITATS) | (joined["microhabitat"].isin(SECRET_MICROHABITATS) & finer)
    kept = joined[~secret].drop(columns="point_id")
    codes_of = joined.loc[~secret, "point_id"]
    named = [opaque(key, "point", code, salt) for code, salt in zip(codes_of, kept["salt"], strict=True)]
    return _in_order(kept.assign(point_id=pd.Series(named, index=kept.index, dtype="str")), public_visits, "point_id", "availability")


def _taxa(taxa: pd.DataFrame, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Taxa that a published row names; one that is withheld everywhere is not listed."""
    targets = {code for text in tables["visits"]["target_taxa"].dropna() for code in text.split("|")}
    named = targets | set(tables["finds"]["taxon"]) | set(tables["absences"]["taxon"])
    listed = taxa[taxa["code"].isin(named)].sort_values("code", ignore_index=True)
    # a line break typed into rillbook.toml would break a row of a file in two
    return listed.assign(scientific_name=[" ".join(name.split()) for name in listed["scientific_name"]])[list(public_fields("taxa"))]


def _counts(rows: BookRows, visits: pd.DataFrame, finds: pd.DataFrame) -> dict[str, int]:
    why_of = dict(zip(visits["visit_id"], visits["left_out"], strict=True))
    of_place = [why_of[visit] for visit in _each(rows.finds["visit_id"])]
    return {
        "finds of eggs or at nests": int((finds["why"] == "egg").sum()),
        "finds of a taxon with a coarser class than the square of its site": int((finds["why"] == "taxon").sum()),
        "finds in a seep or cave that was met after its site was first published": int((finds["why"] == "seep").sum()),
        "finds at withheld sites": of_place.count(WITHHELD),
        "finds at sites without coordinates": of_place.count(NO_PLACE),
        "visits to withheld sites": int((visits["left_out"] == WITHHELD).sum()),
        "visits to sites without coordinates": int((visits["left_out"] == NO_PLACE).sum()),
        "visits from before their site moved by more than a square": int((visits["left_out"] == MOVED).sum()),
    }
