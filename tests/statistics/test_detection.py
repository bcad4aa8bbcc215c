"""How often a search finds what lives there: counts by hand, what says nothing, and a share drawn with a known detection."""

from __future__ import annotations

import math
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest

from pipeline.statistics.detection import COMPUTED, NOT_KNOWN, STATED, detections, searches
from schemas.frames.reports import ABSENCE_COLUMNS


def history(rows: str, targets: str = "EWIL|GPOR") -> tuple[pd.DataFrame, pd.DataFrame]:
    """Visits and finds from lines such as ``A 0101000``: a site and whether each of its visits found EWIL."""
    visits, finds = [], []
    for line in rows.split("\n"):
        site, found = line.split()
        for day, mark in enumerate(found):
            name = f"{site}{day}"
            when = pd.Timestamp(2024, 3, 1) + timedelta(days=14 * day)
            visits.append(
                {
                    "visit_id": name,
                    "site_id": site,
                    "visit_date": when,
                    "start_time": None,
                    "target_taxa": targets,
                    "incomplete": mark == "?",
                }
            )
            if mark == "1":
                finds += [{"visit_id": name, "taxon": "EWIL"}] * 2
    return pd.DataFrame(visits), pd.DataFrame(finds, columns=["visit_id", "taxon"])


def test_detection_by_hand() -> None:
    """A: after its first find 1, 0, 1; B: 0, 0; C was found on its last visit only; D never; E has two visits, too few to count."""
    visits, finds = history("A 01101\nB 100\nC 0001\nD 000\nE 11")
    ewil, gpor = detections(searches(visits, finds), ["EWIL", "GPOR"], {}).to_dict("records")
    assert (ewil["n_found_again"], ewil["n_later"], ewil["n_sites"], ewil["basis"]) == (2, 5, 2, COMPUTED)
    assert ewil["detection"] == 0.4 and ewil["visits_to_absence"] == 6  # 0.6^5 = 0.078, 0.6^6 = 0.047
    assert gpor["basis"] == NOT_KNOWN and math.isnan(gpor["visits_to_absence"]) and "no site" in gpor["why"]


def test_a_visit_whose_finds_are_held_back_says_nothing() -> None:
    visits, finds = history("A 1?0?1")
    (row,) = detections(searches(visits, finds), ["EWIL"], {}).to_dict("records")
    assert (row["n_found_again"], row["n_later"]) == (1, 2)


def test_absence_is_for_target_taxa_only() -> None:
    visits, finds = history("A 10101", targets="GPOR")
    assert set(searches(visits, finds)["taxon"]) == {"GPOR"}
    visits["target_taxa"] = None
    assert searches(visits, finds).empty


@pytest.mark.parametrize("marks", ["1111", "1000"])
def test_all_or_none_is_not_known(marks: str) -> None:
    visits, finds = history(f"A {marks}")
    (row,) = detections(searches(visits, finds), ["EWIL"], {}).to_dict("records")
    assert row["basis"] == NOT_KNOWN and math.isnan(row["detection"]) and ("all" if marks == "1111" else "none") in row["why"]


def test_what_a_person_states_stands() -> None:
    visits, finds = history("A 11111")
    (row,) = detections(searches(visits, finds), ["EWIL"], {"EWIL": 0.3}).to_dict("records")
    assert (row["basis"], row["detection"], row["visits_to_absence"]) == (STATED, 0.3, 9)


def test_the_share_after_the_first_find_is_that_of_the_animal() -> None:
    """Drawn with a detection of 0.3 at half of 400 sites: the share is 0.3 within three standard errors, however many sites are empty."""
    rng = np.random.default_rng(5)
    lines = [f"S{site} " + "".join("1" if site % 2 and draw < 0.3 else "0" for draw in rng.uniform(size=10)) for site in range(400)]
    visits, finds = history("\n".join(lines))
    (row,) = detections(searches(visits, finds), ["EWIL"], {}).to_dict("records")
    assert abs(row["detection"] - 0.3) < 3 * math.sqrt(0.3 * 0.7 / row["n_later"])


def test_a_visit_looks_for_a_taxon_once_and_in_order_of_days() -> None:
    """A blank or a doubled code in the list of targets makes no search; the two visits come in order of their clock."""
    visits = pd.DataFrame({
        "visit_id": ["V2", "V1"], "site_id": "A", "visit_date": pd.Timestamp("2024-03-01"), "start_time": ["20:00", "09:00"],
        "target_taxa": ["EWIL| EWIL||", None], "incomplete": [None, False],
    })  # fmt: skip
    finds = pd.DataFrame({"visit_id": ["V1"], "taxon": ["EWIL"]})
    assert searches(visits, finds)[["visit_id", "taxon", "found"]].to_numpy().tolist() == [["V2", "EWIL", False]]
    both = searches(visits.assign(target_taxa="EWIL"), finds)
    assert both[["visit_id", "found"]].to_numpy().tolist() == [["V1", True], ["V2", False]]


def test_no_taxa_make_no_rows_but_all_columns() -> None:
    visits, finds = history("A 01")
    assert detections(searches(visits, finds), [], {}).columns.tolist() == list(ABSENCE_COLUMNS)
    (row,) = detections(searches(visits.iloc[:0], finds.iloc[:0]), ["EWIL"], {}).to_dict("records")
    assert (row["basis"], row["n_later"]) == (NOT_KNOWN, 0)
