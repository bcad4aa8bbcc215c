"""The class of a taxon and the one square of a site."""

from __future__ import annotations

import pandas as pd
import pytest
from public_cases import book_settings, find, rows, site, visit

from pipeline.publishing.shown import shown_now
from pipeline.publishing.site_squares import SECRET_STEP, known_again, site_squares, taxon_classes, uncertainty_class_m


def classes(group: str, sensitivity: str = "0.01") -> dict[str, str]:
    return taxon_classes(pd.DataFrame({"code": ["A"], "group": [group], "sensitivity": [sensitivity]}))


# Chapman 2020, category 1: what lives at one spring or in one cave is of extreme sensitivity, shown at 1 degree at most.
@pytest.mark.parametrize("group", ["cave", "warm_spring"])
def test_what_lives_in_caves_and_warm_springs_is_never_shown_finer_than_a_degree(group: str) -> None:
    assert classes(group) == {"A": "1"} and SECRET_STEP == "1"
    assert classes(group, "withheld") == {"A": "withheld"}


def test_other_groups_keep_the_class_that_is_stated() -> None:
    assert classes("cool_stream") == {"A": "0.01"} and classes("woodland", "0.1") == {"A": "0.1"}


def test_a_site_is_known_again_by_its_visits_under_another_code_and_only_beside_its_square() -> None:
    before, of_visits = {"S": shown_now(None, "0.1", 36.2010, -81.95, "")}, {"V": "S"}
    near, far = (rows([site("T", latitude, -81.95)], [visit("V", "T")]) for latitude in (36.1994, 36.45))
    assert known_again(near, before, of_visits) == {"T": before["S"]}
    assert known_again(far, before, of_visits) == {} == known_again(near, before, {"W": "S"})
    # a site that has an entry of its own keeps that
    assert known_again(near, {**before, "T": before["S"]}, of_visits) == {}


def test_the_class_of_a_site_is_that_of_its_first_publication() -> None:
    """Were it that of each release, a find of a sensitive taxon that comes or goes would move the square, and tell of itself."""
    both = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1"), find("F2", "V1", "CC")])
    without = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1")])
    for first, later, step in ((both, without, "1"), (without, both, "0.01")):
        before = site_squares(first, book_settings(), {})
        after = site_squares(later, book_settings(), {"S1": before["shown"].iloc[0]})
        assert [*before["step"], *after["step"]] == [step, step]


# Georeferencing Best Practices (Chapman & Wieczorek 2020): an unknown datum adds 5359 m.
@pytest.mark.parametrize(("own", "shown"), [(12.0, 100.0), (100.0, 100.0), (101.0, 1000.0), (float("nan"), 10000.0)])
def test_an_uncertainty_is_published_as_its_class(own: float, shown: float) -> None:
    assert uncertainty_class_m(own) == shown
