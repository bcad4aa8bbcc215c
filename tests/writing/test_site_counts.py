"""Numbers of sites that others may know."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.writing.site_counts import coarse_sites, in_class, least_of_class, told_sites, told_words, without_hidden


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
    told = without_hidden(targets, readings[readings["site"] != "S2"], {"warm": (5, 6, 7), "cold": (12,)})
    assert told["n_sites"].tolist() == [1, 1, 1]
    pd.testing.assert_frame_equal(told.drop(columns="n_sites"), targets.drop(columns="n_sites"))


@pytest.mark.parametrize(
    ("row", "published", "told"),
    [
        pytest.param({"n_sites": 3, "grade": "C", "reason": ""}, 2, 3, id="grade C says that there are three"),
        pytest.param({"n_sites": 9, "grade": "C", "reason": ""}, 2, 3, id="and no more"),
        pytest.param({"n_sites": 9, "grade": "C", "reason": ""}, 8, 6, id="six of them are published"),
        pytest.param({"n_sites": 2, "grade": "D", "reason": "2 of 3 sites, 1 of 4 visits needed"}, 1, 1, id="too few"),
        pytest.param({"n_sites": 2, "grade": "D", "reason": "2 of 3 sites needed"}, 0, 1, id="there are readings, so there is a site"),
        pytest.param({"n_sites": 4, "grade": "D", "reason": "3 of 4 visits needed"}, 1, 3, id="sites are not what it lacks"),
        pytest.param({"n_sites": 0, "grade": "D", "reason": "no readings"}, 0, 0, id="nothing"),
    ],
)
def test_a_withheld_site_shows_in_no_number(row: dict, published: float, told: int) -> None:
    """The fault: "1 to 2 sites" beside a grade that asks for three tells that one more is withheld; so does "2 of 3 sites" beside none."""
    frame = pd.DataFrame([row])
    assert told_sites(frame, pd.Series([published], dtype="float64"))["n_sites"].tolist() == [told]
    # whatever is withheld beyond what the row tells anyway, the row is the same
    more = told_sites(frame.assign(n_sites=row["n_sites"] + 5 * (row["n_sites"] >= 3)), pd.Series([published], dtype="float64"))
    assert more["n_sites"].tolist() == [told]


def test_reasons_tell_no_number_of_sites() -> None:
    assert told_words("2 of 3 sites, 1 of 4 visits needed") == told_words("1 of 3 sites, 1 of 4 visits needed")
    assert told_words("6 of 5 sites, 5 of 6 dates needed") == "at least 5 sites, 5 of 6 dates needed" and told_words(None) is None
