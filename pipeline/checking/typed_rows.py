"""Rows of one table from all sheets of a load: typed, and merged where one thing is described more than once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from dataclasses import field as dataclass_field
from functools import cache

import numpy as np
import pandas as pd

from pipeline.reading.rows import Mapped, MappedSource
from pipeline.reading.values import CANONICAL, Typed, as_text, empty_column, read_column, read_texts
from schemas.distinct import Coded
from schemas.tables import fields

READINGS = (
    "air_temp_c", "rh_pct", "wet_bulb_c", "water_temp_c", "substrate_temp_c", "ph", "soil_ph", "conductivity_us_cm",
    "dissolved_oxygen_mg_l",
)  # fmt: skip
"""Readings of a visit that may be taken more than once in it."""

ASKED_AGAIN = ("taxon", "life_stage", "visit_date")
"""What is asked of a candidate beside its keys once it is checked: of which taxa its row says nothing, and which visit may be meant."""


@dataclass(frozen=True)
class Candidates:
    """All rows that the sheets give for one table, before anything is refused.

    Attributes
    ----------
    table : str
        Name of the table.
    typed : DataFrame
        Every declared field in its type, one row a candidate; once rows were made of them, those that :func:`without_readings` leaves.
    text : DataFrame of str
        The same as text: the canonical form where it could be read, else as written.
    written : DataFrame of str
        As written.
    origin : DataFrame of int
        ``source`` (sheet), ``row`` (position) and ``line`` (in the file) of each candidate.
    faults : DataFrame
        ``row``, ``field``, ``fault`` of the cells that could not be read.
    ways : DataFrame
        ``row``, ``field``, ``text``, ``how`` of the cells whose value is more than a copy of what was written; ``at_least``.
    parts : tuple of (int, Mapped)
        The mapped sheets, in the order of the candidates.
    several : DataFrame
        ``row``, ``field``, ``text``, ``how``: readings of one visit that were brought together.
    """

    table: str
    typed: pd.DataFrame
    text: pd.DataFrame
    written: pd.DataFrame
    origin: pd.DataFrame
    faults: pd.DataFrame
    ways: pd.DataFrame
    parts: tuple[tuple[int, Mapped], ...]
    several: pd.DataFrame = dataclass_field(default_factory=lambda: pd.DataFrame({"row": [], "field": [], "text": [], "how": []}))

    def to_store(self, held: pd.Index) -> Candidates:
        """The text of the rows that are held back, and where all rows came from."""
        # a part of a frame that is no copy keeps the whole
        none = self.typed.iloc[:0].copy()
        return replace(self, typed=none, text=self.text.loc[held], written=none, parts=())


def gather(table: str, sources: list[MappedSource]) -> Candidates:
    """Type the rows of one table from every sheet that has some.

    Parameters
    ----------
    table : str
        Name of the table.
    sources : list of MappedSource
        The mapped sheets of a load.

    Returns
    -------
    Candidates
    """
    parts = tuple((number, mapped) for number, source in enumerate(sources) for mapped in source.mapped if mapped.table == table)
    typed, text, written, origin, faults, ways, start = [], [], [], [], [], [], 0
    for number, mapped in parts:
        index = pd.RangeIndex(start, start + len(mapped.text))
        raw, pairs = _without_pairs(_every_field(table, mapped, index), mapped)
        coded = mapped.coded if pairs.empty else {}
        one, one_text, one_faults, one_ways = _type(table, raw, mapped, coded, index)
        typed.append(one)
        written.append(raw)
        text.append(one_text)
        lines = sources[number].source.lines[mapped.rows] if len(mapped.rows) else np.array([], dtype="int64")
        origin.append(pd.DataFrame({"source": number, "row": mapped.rows, "line": lines}, index=index))
        faults += one_faults
        ways += [pairs, *one_ways]
        start += len(index)
    if not parts:
        none = _nothing(table)
        # each caller may write into its own
        return replace(none, typed=none.typed.copy(), text=none.text.copy(), written=none.written.copy())
    one = Candidates(table, _one(typed), _one(text), _one(written), _one(origin), _faults(faults), _ways(ways), parts)
    return bring_together(one) if table == "visits" else one


def without_readings(one: Candidates) -> Candidates:
    """Candidates of which only those typed columns are left that are asked for once rows were made of them: of a million finds they weigh.

    Parameters
    ----------
    one : Candidates
        Of any table; of sites, which are few, all is left.

    Returns
    -------
    Candidates
    """
    if one.table == "sites":
        return one
    names = [name for name, field in fields(one.table).items() if field.key or field.refers_to or name in ASKED_AGAIN]
    return replace(one, typed=one.typed[names])


@cache
def _nothing(table: str) -> Candidates:
    empty = pd.DataFrame({name: empty_column(field.kind, pd.RangeIndex(0)) for name, field in fields(table).items()})
    blank = pd.DataFrame({name: pd.Series(dtype="str") for name in fields(table)})
    columns = pd.DataFrame({"source": [], "row": [], "line": []}, dtype="int64")
    return Candidates(table, empty, blank, blank, columns, _faults([]), _ways([]), ())


def _one(frames: list[pd.DataFrame]) -> pd.DataFrame:
    return frames[0] if len(frames) == 1 else pd.concat(frames)


def _every_field(table: str, mapped: Mapped, index: pd.Index) -> pd.DataFrame:
    """Text of every field of the table; those that the sheet does not have share one column with nothing in it."""
    text, nothing = mapped.text.set_axis(index), pd.Series(np.nan, index=index, dtype="str")
    columns = {name: text[name].astype("str") if name in text else nothing for name in fields(table)}
    return pd.DataFrame(columns, index=index, copy=False)


def _as_text(typed: pd.Series, kind: str, raw: pd.Series) -> pd.Series:
    return raw if typed.isna().all() else as_text(typed, kind).fillna(raw)


def bring_together(one: Candidates) -> Candidates:
    """Make several readings of a visit one value, with their number and span on record.

    Rows that repeat a visit and differ in nothing but one reading are readings of that visit: their mean is kept. For a field of which the
    map says ``several``, the same holds whatever else differs. A reading that cannot be read or is not possible leaves all as it stands.

    Parameters
    ----------
    one : Candidates
        Of the table `visits`.

    Returns
    -------
    Candidates
    """
    said = {name: how for _, mapped in one.parts for name, how in mapped.several.items()}
    keys = one.typed["visit_id"]
    repeated = keys[keys.notna() & keys.duplicated(keep=False)]
    if repeated.empty:
        return one
    typed, text, rows = one.typed.copy(), one.text.copy(), []
    varying = one.text.loc[repeated.index].groupby(repeated).nunique()
    for key, differing in varying[(varying > 1).any(axis=1)].iterrows():
        names = [name for name in one.text.columns if differing[name] > 1]
        asked = [name for name in names if name in said]
        rest = [name for name in names if name not in said]
        alone = rest if len(rest) == 1 and rest[0] in READINGS else []
        members = repeated.index[repeated == key]
        for name in [*asked, *alone]:
            found = _several(one, members, name, said.get(name, "mean"))
            if found is None:
                continue
            value, how = found
            filled = members[one.text.loc[members, name].notna()]
            typed[name] = typed[name].astype("float64") if fields(one.table)[name].kind == "real" else typed[name]
            typed.loc[filled, name] = value
            text.loc[filled, name] = as_text(typed.loc[filled, name], fields(one.table)[name].kind)
            written = " | ".join(dict.fromkeys(one.written.loc[filled, name]))
            rows.append((int(filled[0]), name, written, how, False))
    if not rows:
        return one
    several = pd.DataFrame(rows, columns=["row", "field", "text", "how", "at_least"])
    ways = _ways([one.ways, several])
    return replace(one, typed=typed, text=text, ways=ways, several=several.drop(columns="at_least"))


def _several(one: Candidates, members: pd.Index, name: str, how: str) -> tuple[float, str] | None:
    """The value of several readings and how it was made; None where one of them is no reading."""
    declared = fields(one.table)[name]
    written = one.text.loc[members, name].notna()
    values = one.typed.loc[members, name][written].astype("float64")
    low, high = declared.possible or (-np.inf, np.inf)
    if values.isna().any() or not values.between(low, high).all():
        return None
    readings = values.drop_duplicates()
    value = {"mean": readings.mean(), "median": readings.median(), "first": readings.iloc[0]}[how]
    value = float(round(value)) if declared.kind == "whole" else round(float(value), 6)
    return value, f"{how} of {len(readings)} readings, {readings.min():.10g} to {readings.max():.10g}"


def _without_pairs(raw: pd.DataFrame, mapped: Mapped) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Text with a pair such as ``15.2/13.1`` in the field of the wet bulb parted: dry bulb first, for the air if it has none."""
    if "wet_bulb_c" not in mapped.text:
        return raw, _ways([])
    if "wet_bulb_c" in mapped.coded and not mapped.coded["wet_bulb_c"].values.str.contains("/", na=False).any():
        return raw, _ways([])
    pairs = raw["wet_bulb_c"].str.extract(r"^\s*([^/]*\d[^/]*?)\s*/\s*([^/]*\d[^/]*?)\s*$")
    is_pair = pairs.notna().all(axis=1) & raw["air_temp_c"].isna()
    if not is_pair.any():
        return raw, _ways([])
    parted = raw.assign(
        air_temp_c=raw["air_temp_c"].where(~is_pair, pairs[0]).astype("str"),
        wet_bulb_c=raw["wet_bulb_c"].where(~is_pair, pairs[1]).astype("str"),
    )
    text = raw.loc[is_pair, "wet_bulb_c"]
    how = {"air_temp_c": "dry bulb, first of the pair", "wet_bulb_c": "wet bulb, second of the pair"}
    return parted, _ways([_way(name, text, pd.Series(words, index=text.index)) for name, words in how.items()])


def _type(
    table: str, raw: pd.DataFrame, mapped: Mapped, coded: dict[str, Coded], index: pd.Index
) -> tuple[pd.DataFrame, pd.DataFrame, list[pd.DataFrame], list[pd.DataFrame]]:
    """Typed rows, their text, and the faults and ways of reading of each cell."""
    columns, texts, faults, ways = {}, {}, [], []
    nothing = {kind: empty_column(kind, index) for kind in {field.kind for field in fields(table).values()}}
    for name, field in fields(table).items():
        style = mapped.styles.get(name, CANONICAL)
        if name in coded:
            place, values = coded[name].place, coded[name].values
            once = read_texts(values, field, style)
            columns[name] = Coded(place, once.values).spread_unless(coded[name], raw[name])
            texts[name] = Coded(place, _as_text(once.values, field.kind, values)).spread_unless(coded[name], raw[name])
            faults += [pd.DataFrame({"row": index[mask[place]], "field": name, "fault": fault}) for fault, mask in _masks(once)]
            if once.how.notna().any():
                how, at_least = (Coded(place, part).spread(index) for part in (once.how, once.at_least))
                ways.append(_way(name, raw[name], how, at_least))
            continue
        if name not in mapped.text and raw[name].isna().all():
            columns[name], texts[name] = nothing[field.kind], raw[name]
            continue
        typed = read_column(raw[name], field, style)
        columns[name] = typed.values
        faults += [pd.DataFrame({"row": index[mask], "field": name, "fault": fault}) for fault, mask in _masks(typed)]
        if typed.how.notna().any():
            ways.append(_way(name, raw[name], typed.how, typed.at_least))
    frame = pd.DataFrame(columns, index=index, copy=False)
    if table == "visits" and mapped.styles.get("visit_date", CANONICAL).evening:
        after_midnight = (frame["start_time"] < "12:00").fillna(False).astype(bool) & frame["visit_date"].notna()
        frame["visit_date"] = frame["visit_date"].where(~after_midnight, frame["visit_date"] + pd.Timedelta(days=1))
        moved = raw.loc[after_midnight, "visit_date"]
        ways.append(_way("visit_date", moved, pd.Series("the evening's date; it began after midnight", index=moved.index)))
        texts.pop("visit_date", None)
    text = {name: texts[name] if name in texts else _as_text(frame[name], field.kind, raw[name]) for name, field in fields(table).items()}
    return frame, pd.DataFrame(text, index=index, copy=False), faults, ways


def _masks(typed: Typed) -> list[tuple[str, np.ndarray]]:
    return [(fault, mask.to_numpy(dtype=bool)) for fault, mask in typed.faults.items()]


def _way(name: str, text: pd.Series, how: pd.Series, at_least: pd.Series | None = None) -> pd.DataFrame:
    said = how.notna()
    marked = False if at_least is None else at_least[said].to_numpy()
    return pd.DataFrame({"row": text.index[said], "field": name, "text": text[said], "how": how[said], "at_least": marked})


def _ways(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """All ways in which a cell was read, side by side where a cell has more than one."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return pd.DataFrame({"row": pd.Series(dtype="int64"), "field": [], "text": [], "how": [], "at_least": pd.Series(dtype="bool")})
    every = pd.concat(parts, ignore_index=True)
    joined = every.groupby(["row", "field"], sort=False).agg({"text": "first", "how": "; ".join, "at_least": "any"})
    return joined.reset_index()


def _faults(parts: list[pd.DataFrame]) -> pd.DataFrame:
    parts = [part for part in parts if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame({"row": pd.Series(dtype="int64"), "field": [], "fault": []})
