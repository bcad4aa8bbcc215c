"""Known animals: what the finds of one mark say of each other."""

from __future__ import annotations

import pandas as pd

# Judgements: an animal measured alive twice agrees within a sixth of its length, and grows less than half a millimetre a day.
MEASURED_TO = 1 / 6
GROWTH_MM_PER_DAY = 0.5
SEXES = ("female", "male")


def animal_marks(finds: pd.DataFrame, day: pd.Series, site: pd.Series) -> pd.DataFrame:
    """Look at the finds of each marked animal side by side; marks are given site by site.

    Parameters
    ----------
    finds : DataFrame
        Columns ``animal_id``, ``visit_id``, ``taxon``, ``sex``, ``svl_mm`` [mm].
    day : Series of datetime
        Day of each find; missing where it is not known.
    site : Series of str
        Site of each find.

    Returns
    -------
    DataFrame
        On the index of `finds`: ``animal_twice`` (the mark stands at another find of the same visit) and ``animal_changed`` (the taxon or
        the sex is not that of most finds of the mark, or the size cannot have come from the one before it).
    """
    marks = pd.DataFrame({"animal_twice": False, "animal_changed": False}, index=finds.index)
    known = finds.assign(day=day, site=site)[finds["animal_id"].notna()]
    known = known[known.duplicated(["animal_id", "site"], keep=False)]
    marks.loc[known.index, "animal_twice"] = known.duplicated(["animal_id", "visit_id"], keep=False)
    if known.empty:
        return marks
    animal = known.groupby(["animal_id", "site"], sort=False, dropna=False).ngroup()
    for words in (known["taxon"], known["sex"].where(known["sex"].isin(SEXES))):
        marks.loc[_fewer(words, animal), "animal_changed"] = True
    marks.loc[_odd_sizes(known, animal), "animal_changed"] = True
    return marks


def _fewer(words: pd.Series, animal: pd.Series) -> pd.Index:
    """Finds with a word that fewer finds of the animal have; all of them where no word has more."""
    said = words.dropna()
    of = animal[said.index]
    times = said.groupby([of, said]).transform("size")
    most = times.groupby(of).transform("max")
    agreed = said.where(times == most).groupby(of).transform("nunique") == 1
    return said.index[(said.groupby(of).transform("nunique") > 1) & ((times < most) | ~agreed)]


def _odd_sizes(known: pd.DataFrame, animal: pd.Series) -> pd.Index:
    """Finds whose size is not what the one before it may have become; both where they are of one day."""
    sized = known.dropna(subset=["svl_mm", "day"]).sort_values("day", kind="stable")
    of = animal[sized.index]
    before, days = sized["svl_mm"].groupby(of).shift(), sized["day"].groupby(of).diff().dt.total_seconds() / 86400
    odd = (sized["svl_mm"] > before * (1 + MEASURED_TO) + GROWTH_MM_PER_DAY * days) | (sized["svl_mm"] < before * (1 - MEASURED_TO))
    same_day = (odd & (days == 0)).groupby(of).shift(-1, fill_value=False).astype(bool)
    return sized.index[(odd | same_day).to_numpy()]
