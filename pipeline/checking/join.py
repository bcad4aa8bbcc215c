"""Files that should join: codes of one file without a partner in the others, told before anything is stored."""

from __future__ import annotations

import pandas as pd

from pipeline.checking.nearest import nearest
from pipeline.checking.outcome import Checked
from pipeline.writing.words import some_of
from schemas.tables import key_of

PLACE = ("latitude", "longitude", "verbatim_coordinates")
SHOWN = 5


def joined(checked: Checked, known: dict[str, pd.DataFrame]) -> list[str]:
    """See whether the files of a load name the same sites.

    Parameters
    ----------
    checked : Checked
        Outcome of a check.
    known : dict of str to DataFrame
        Current rows of the book.

    Returns
    -------
    list of str
        Sentences for a person; empty where one file alone names sites.
    """
    candidates = checked.tables["sites"].candidates
    if len(candidates.parts) < 2:
        return []
    key = key_of("sites")
    codes = candidates.typed[key]
    by_file = {number: codes[candidates.origin["source"] == number] for number, _ in candidates.parts}
    said = []
    for number, mapped in candidates.parts:
        if any(name in mapped.text for name in PLACE):
            continue
        others = {code for other, part in by_file.items() if other != number for code in part.dropna()} | set(known["sites"][key])
        alone = by_file[number][~by_file[number].isin(others)].dropna()
        if len(alone):
            said.append(_partnerless(checked, number, alone, others))
    accepted = checked.tables["sites"].accepted
    without = accepted[accepted["latitude"].isna() | accepted["longitude"].isna()]
    if len(without) and len(without) < len(accepted):
        listed = some_of([repr(one) for one in without[key]], SHOWN)
        said.append(f"{len(without)} of {len(accepted)} sites are left without a place: {listed}.")
    return said


def _partnerless(checked: Checked, number: int, alone: pd.Series, others: set[str]) -> str:
    """Sites that one file names and no other does, with the nearest spelling of each and its lines."""
    source = checked.sources[number].source
    lines = checked.tables["sites"].candidates.origin.loc[alone.index, "line"].groupby(alone).agg(list)
    shown = []
    for code, rows in list(lines.items())[:SHOWN]:
        near = nearest(str(code), others, 1)
        words = [f"one row, line {rows[0]}" if len(rows) == 1 else f"{len(rows)} rows from line {rows[0]}"]
        words += [f"nearest {near[0]!r}"] if near else []
        shown.append(f"{code!r} ({', '.join(words)})")
    more = f" and {len(lines) - SHOWN} more" if len(lines) > SHOWN else ""
    return (
        f"{source.label}: {len(lines)} sites are in no other file and not in the book: {', '.join(shown)}{more}. "
        "They become sites of their own. If they are misspelled, mend the sheet or the map first."
    )
