"""What a load would change in the book, and what would vanish from it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from pipeline.book.held_items import REASON
from pipeline.checking.outcome import Checked
from pipeline.reading.values import as_text
from schemas.tables import LOADED, fields, key_of

if TYPE_CHECKING:
    pass


UNDER = {"finds": "visit_id", "availability": "visit_id", "water_tests": "visit_id"}


@dataclass(frozen=True)
class Changes:
    """What a load would do to rows that the book holds.

    Attributes
    ----------
    same : dict of str to set of str
        Keys of rows that the book holds already, by table.
    changed, vanished : list of str
        What would change, and what would vanish, in words.
    """

    same: dict[str, set[str]]
    changed: list[str] = field(default_factory=list)
    vanished: list[str] = field(default_factory=list)


def is_settled(held: pd.DataFrame, settled: pd.DataFrame) -> np.ndarray:
    """Which reasons a person has answered already, about the same text: they need no second answer."""
    answered = set(settled[list(REASON)].itertuples(index=False, name=None))
    return np.array([reason in answered for reason in held[list(REASON)].itertuples(index=False, name=None)], dtype=bool)


def compare_with_book(known: dict[str, pd.DataFrame], checked: Checked, settled: pd.DataFrame) -> Changes:
    """Compare accepted rows with the book.

    Parameters
    ----------
    known : dict of str to DataFrame
        Current rows of the book.
    checked : Checked
        Outcome of a check.
    settled : DataFrame
        As :func:`settled_reasons`: a value or row that was repaired in the book and stands in the sheet as before is no change.

    Returns
    -------
    Changes
        A sheet that only names a site, and says nothing that differs, leaves it as it is. A visit in the load stands for the whole
        visit: what the book holds of it and the load does not would vanish, and what the load adds to it is a change.
    """
    answered = checked.held[is_settled(checked.held, settled)]
    differing, kept = {}, {}
    for table in LOADED:
        frame, book = checked.tables[table].accepted, known[table]
        differs = _compare(table, frame[frame[key_of(table)].isin(book[key_of(table)])], book)
        if table == "sites":
            said = {name for _, mapped in checked.tables[table].candidates.parts for name in mapped.text.columns}
            differs = {key: parts for key, parts in differs.items() if said & set(parts)}
        cells = set(answered.loc[answered["table"] == table, ["row_key", "field"]].itertuples(index=False, name=None))
        differing[table] = {key: parts for key, parts in differs.items() if any((key, name) not in cells for name in parts)}
        kept[table] = {key: parts for key, parts in differs.items() if key not in differing[table]}
    vanishing = _vanishing(known, checked)
    repaired = [
        one for one in vanishing if one[1] in set(answered.loc[(answered["table"] == one[0]) & (answered["candidate"] >= 0), "row_key"])
    ]
    vanished = [one for one in vanishing if one not in repaired]
    broken = _broken_visits(known, checked, differing, vanished)
    same = _same(known, checked, differing, broken)
    for table in ("visits", *UNDER):
        frame = checked.tables[table].accepted
        lost = frame.loc[frame["visit_id"].isin(broken), key_of(table)]
        differing[table].update({key: kept[table][key] for key in lost if key in kept[table]})
    under = {table: known[table].set_index(key_of(table))["visit_id"] for table in UNDER}
    vanished += [(table, key) for table, key in repaired if under[table][key] in broken]
    changed = [f"{row_word(table)} {key}: {', '.join(parts.values())}" for table in LOADED for key, parts in differing[table].items()]
    return Changes(same, changed + _added(known, checked), [f"{row_word(table)} {key}" for table, key in vanished])


def row_word(table: str) -> str:
    """What one row of a table is called."""
    return "point" if table == "availability" else table[:-1].replace("_", " ")


def _compare(table: str, frame: pd.DataFrame, book: pd.DataFrame) -> dict[str, dict[str, str]]:
    """Rows that differ from the book: key, field, and the change in words."""
    if frame.empty:
        return {}
    key = key_of(table)
    names = [name for name, declared in fields(table).items() if not declared.derived]
    new = frame.set_index(key, drop=False)[names]
    old = book.set_index(key, drop=False).loc[new.index, names]
    names = [name for name in names if new[name].notna().any() or old[name].notna().any()]
    new_text = pd.DataFrame({name: as_text(new[name], fields(table)[name].kind).fillna("") for name in names})
    old_text = pd.DataFrame({name: as_text(old[name], fields(table)[name].kind).fillna("") for name in names})
    differs = new_text != old_text
    return {
        str(row): {
            name: f"{name} {old_text.at[row, name] or 'blank'} → {new_text.at[row, name] or 'blank'}"
            for name in names
            if differs.at[row, name]
        }
        for row in differs.index[differs.any(axis=1)]
    }


def _vanishing(known: dict[str, pd.DataFrame], checked: Checked) -> list[tuple[str, str]]:
    replaced = set(checked.tables["visits"].accepted["visit_id"])
    gone = []
    for table, parent in UNDER.items():
        book, key = known[table], key_of(table)
        mine = book[book[parent].isin(replaced) & ~book[key].isin(checked.tables[table].accepted[key])]
        gone += [(table, str(one)) for one in mine[key]]
    return gone


def _broken_visits(
    known: dict[str, pd.DataFrame], checked: Checked, differing: dict[str, Any], vanished: list[tuple[str, str]]
) -> set[str]:
    """Visits of the load that are not, with all that hangs on them, as the book holds them; all of each is stored again."""
    broken = set(differing["visits"])
    for table, parent in UNDER.items():
        frame, key, book = checked.tables[table].accepted, key_of(table), known[table]
        broken |= set(frame.loc[~frame[key].isin(book[key]) | frame[key].isin(differing[table].keys()), parent])
        broken |= set(book.loc[book[key].isin([one for where, one in vanished if where == table]), parent])
    return broken & set(checked.tables["visits"].accepted["visit_id"])


def _same(known: dict[str, pd.DataFrame], checked: Checked, differing: dict[str, Any], broken: set[str]) -> dict[str, set[str]]:
    same = {}
    for table in LOADED:
        frame, key = checked.tables[table].accepted, key_of(table)
        stays = frame[key].isin(known[table][key]) & ~frame[key].isin(differing[table].keys())
        if "visit_id" in frame:
            stays &= ~frame["visit_id"].isin(broken)
        same[table] = set(frame.loc[stays, key])
    return same


def _added(known: dict[str, pd.DataFrame], checked: Checked) -> list[str]:
    """Rows that the load adds to visits which the book holds and the load describes again."""
    described = set(checked.tables["visits"].accepted["visit_id"]) & set(known["visits"]["visit_id"])
    added = []
    for table, parent in UNDER.items():
        frame, key = checked.tables[table].accepted, key_of(table)
        new = frame[frame[parent].isin(described) & ~frame[key].isin(known[table][key])]
        added += [f"{row_word(table)} {one} is added to visit {visit}" for one, visit in zip(new[key], new[parent], strict=True)]
    return added
