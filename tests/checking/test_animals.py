"""A mark makes the checks stronger: what the finds of one animal say of each other."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.checking.animals import animal_marks

NAMES = ["animal_id", "visit_id", "taxon", "sex", "svl_mm"]


def marks(*finds: tuple[object, ...]) -> tuple[list[bool], list[bool]]:
    """Finds as mark, visit, taxon, sex, size [mm] and day."""
    frame = pd.DataFrame([one[:5] for one in finds], columns=NAMES).astype({"svl_mm": "float64"})
    found = animal_marks(frame, pd.Series(pd.to_datetime([one[5] for one in finds])), pd.Series("S1", index=frame.index))
    return found["animal_twice"].tolist(), found["animal_changed"].tolist()


def test_one_id_as_male_and_female_in_one_visit() -> None:
    """The slip of the issue: one id as male 57 mm and female 31 mm."""
    both = marks(("A7", "V1", "GPOR", "male", 57, "2023-06-10"), ("A7", "V1", "GPOR", "female", 31, "2023-06-10"))
    assert both == ([True, True], [True, True])


def test_the_same_animal_typed_twice() -> None:
    assert marks(("A7", "V1", "GPOR", "male", 57, "2023-06-10"), ("A7", "V1", "GPOR", "male", 57, "2023-06-10"))[0] == [True, True]


@pytest.mark.parametrize(
    ("later", "day", "odd"),
    [
        (57, "2023-07-10", False), (60, "2023-06-11", False), (52, "2023-07-10", False), (45, "2023-07-10", True), (75, "2023-06-17", True),
        (75, "2024-06-17", False),
    ],
)  # fmt: skip
def test_growth_that_can_be(later: float, day: str, odd: bool) -> None:
    assert marks(("A7", "V1", "GPOR", "male", 57, "2023-06-10"), ("A7", "V2", "GPOR", "male", later, day)) == ([False, False], [False, odd])


def test_another_animal_or_nothing_noted_says_nothing() -> None:
    rows = (
        ("A7", "V1", "GPOR", "male", 57, "2023-06-10"),
        ("A8", "V1", "GPOR", "female", 31, "2023-06-10"),
        (None, "V1", "GPOR", None, 31, "2023-06-10"),
    )
    assert marks(*rows, (None, "V1", "GPOR", None, 99, "2023-06-10")) == ([False] * 4, [False] * 4)
    assert marks(("A7", "V1", "GPOR", None, 57, "2023-06-10"), ("A7", "V2", "GPOR", "male", None, None))[1] == [False, False]


def test_one_slip_among_many_marks_itself_alone() -> None:
    many = [("A7", f"V{number}", "GPOR", "female" if number == 2 else "male", 57, f"2023-06-1{number}") for number in range(5)]
    assert marks(*many)[1] == [False, False, True, False, False]


def test_the_same_mark_at_another_site_is_another_animal() -> None:
    frame = pd.DataFrame({"animal_id": "A7", "visit_id": ["V1", "V2"], "taxon": "GPOR", "sex": ["male", "female"], "svl_mm": [57.0, 31.0]})
    found = animal_marks(frame, pd.Series(pd.to_datetime(["2023-06-10"] * 2)), pd.Series(["S1", "S2"]))
    assert not found.to_numpy().any()
