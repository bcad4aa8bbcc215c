"""Known animals: what the finds of one mark say of each other."""

from __future__ import annotations

import pandas as pd

# Judgements: an adult is measured alive to about 2 mm (from memory), a larva grows less than half a millimetre a day.
MEASURED_TO_MM = 4.0
GROWTH_MM_PER_DAY = 0.5
SEXES = ("female", "male")


def animal_marks(finds: pd.DataFrame, day: pd.Series) -> pd.DataFrame:
    """Look at the finds of each marked animal side by side.

    Parameters
    ----------
    finds : DataFrame
        Columns ``animal_id``, ``visit_id``, ``taxon``, ``sex``, ``svl_mm`` [mm].
    day : Series of datetime
        Day of each find; missing where it is not known.

    Returns
    -------
    DataFrame
        On the index of `finds`: ``animal_twice`` (the mark stands at another find of the same visit) and ``animal_changed`` (another find
        of the mark has another taxon, the other sex, or a size that shrank by more than it is measured to, or grew faster than an animal can).
    """
    marks = pd.DataFrame({"animal_twice": False, "animal_changed": False}, index=finds.index)
    known = finds.assign(day=day)[finds["animal_id"].notna()]
    known = known[known["animal_id"].duplicated(keep=False)]
    marks.loc[known.index, "animal_twice"] = known.duplicated(["animal_id", "visit_id"], keep=False)
    for _, group in known.groupby("animal_id", sort=False):
        sexes = group["sex"].where(group["sex"].isin(SEXES))
        if sexes.nunique() > 1 or group["taxon"].nunique() > 1:
            marks.loc[group.index, "animal_changed"] = True
        sized = group.dropna(subset=["svl_mm", "day"]).sort_values("day", kind="stable")
        grown, days = sized["svl_mm"].diff(), sized["day"].diff().dt.total_seconds() / 86400
        odd = (grown.where(days > 0, grown.abs()) > MEASURED_TO_MM + GROWTH_MM_PER_DAY * days) | (grown < -MEASURED_TO_MM)
        marks.loc[sized.index[odd.to_numpy()], "animal_changed"] = True
        marks.loc[sized.index[odd.shift(-1, fill_value=False).to_numpy()], "animal_changed"] = True
    return marks
