"""Numbers of sites that others may know."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.writing.site_counts import coarse_sites, in_class, least_of_class, without_hidden


@pytest.mark.parametrize(
    ("n", "least", "said"),
    [
        (0, 0, "no site that may be told"),
        (1, 1, "1 to 2 sites"),
        (2, 1, "1 to 2 sites"),
        (5, 3, "3 to 5 sites"),
        (6, 6, "6 to 10 sites"),
        (50, 21, "21 to 50 sites"),
        (400, 51, "51 sites or more"),
        (float("nan"), 0, "no site that may be told"),
    ],
)
def test_a_number_is_told_by_its_class(n: float, least: int, said: str) -> None:
    assert (least_of_class(n), in_class(n)) == (least, said)


def test_only_numbers_of_sites_are_made_coarse() -> None:
    frame = pd.DataFrame({"n_sites": [2, 4], "n_dates": [2, 4]})
    assert coarse_sites(frame).to_dict("list") == {"n_sites": [1, 3], "n_dates": [2, 4]}
    assert coarse_sites(frame[["n_dates"]]).equals(frame[["n_dates"]])


def test_a_hidden_site_is_counted_nowhere_and_moves_nothing_else() -> None:
    head = {"taxon": "A", "population": "", "life_stage": "larva", "medium": "water"}
    readings = pd.DataFrame([{**head, "site": site, "month": month} for site, month in (("S1", 5), ("S2", 5), ("S2", 7), ("S3", 7))])
    targets = pd.DataFrame([{**head, "month": month, "n_sites": n, "set_point": 12.0} for month, n in (("5", 2), ("7", 2), ("warm", 3))])
    told = without_hidden(targets, readings, {"S2"}, {"warm": (5, 6, 7), "cold": (12,)})
    assert told["n_sites"].tolist() == [1, 1, 2]
    pd.testing.assert_frame_equal(told.drop(columns="n_sites"), targets.drop(columns="n_sites"))
    assert without_hidden(targets, readings, set(), {}) is targets
