"""Sizes beside the wild ones of the same stage and month; few finds make no band."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.tanks.growth import growth, sizes_by_month


def wild(n: int, stage: str = "larva", month: int = 7) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "life_stage": stage,
            "month": month,
            "svl_mm": np.arange(1.0, n + 1),
            "mass_g": np.nan,
            "total_length_mm": np.nan,
        }
    )


def events(*rows: tuple[str, str, float]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "event_date": pd.to_datetime([day for day, *_ in rows]),
            "event": [event for _, event, _ in rows],
            "svl_mm": [size for *_, size in rows],
            "mass_g": np.nan,
            "total_length_mm": np.nan,
            "life_stage": None,
            "animal_id": "K1",
        }
    )


# Source: type 1 of Hyndman & Fan 1996 on the numbers 1 to 20: P10 is the 2nd, P50 the 10th, P90 the 18th.
def test_the_band_is_that_of_the_wild_finds() -> None:
    row = growth(events(("2025-07-04", "measured", 1.5)), wild(20), "larva").iloc[0]
    assert (row["wild_low"], row["wild_middle"], row["wild_high"], row["n_wild"]) == (2, 10, 18, 20)
    assert row["words"].startswith("below P10")


def test_few_finds_make_no_band() -> None:
    row = growth(events(("2025-07-04", "measured", 5.0)), wild(9), "larva").iloc[0]
    assert np.isnan(row["wild_low"]) and "9 wild finds" in row["words"] and "too few" in row["words"]


def test_another_month_or_stage_lends_nothing() -> None:
    assert growth(events(("2025-06-04", "measured", 5.0)), wild(30), "larva").iloc[0]["n_wild"] == 0
    assert growth(events(("2025-07-04", "measured", 5.0)), wild(30), "adult").iloc[0]["n_wild"] == 0


def test_the_stage_follows_the_log() -> None:
    log = events(("2025-07-01", "measured", 5.0), ("2025-07-02", "metamorphosed", np.nan), ("2025-07-03", "measured", 5.0))
    assert growth(log, wild(30), "larva")["stage"].tolist() == ["larva", "metamorph"]


def test_sizes_by_month_tell_how_many() -> None:
    frame = sizes_by_month(pd.concat([wild(20), wild(3, "metamorph", 8), wild(20, "adult")]))
    assert frame[["life_stage", "month", "n"]].to_numpy().tolist() == [["larva", 7, 20], ["metamorph", 8, 3]]
    assert frame["middle"].isna().tolist() == [False, True]
