"""A mark makes the checks stronger: what the finds of one animal say of each other."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.checking.animals import animal_marks

NAMES = ["animal_id", "visit_id", "taxon", "sex", "svl_mm"]


def marks(*finds: tuple[object, ...]) -> tuple[list[bool], list[bool]]:
    """Finds as mark, visit, taxon, sex, size [mm] and day."""
    frame = pd.DataFrame([one[:5] for one in finds], columns=NAMES).astype({"svl_mm": "float64"})
    found = animal_marks(frame, pd.Series(pd.to_datetime([one[5] for one in finds])))
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
        (57, "2023-07-10", False), (60, "2023-06-11", False), (54, "2023-07-10", False), (52, "2023-07-10", True), (75, "2023-06-17", True),
        (75, "2024-06-17", False),
    ],
)  # fmt: skip
def test_growth_that_can_be(later: float, day: str, odd: bool) -> None:
    assert marks(("A7", "V1", "GPOR", "male", 57, "2023-06-10"), ("A7", "V2", "GPOR", "male", later, day)) == ([False, False], [odd, odd])


def test_another_animal_or_nothing_noted_says_nothing() -> None:
    rows = (
        ("A7", "V1", "GPOR", "male", 57, "2023-06-10"),
        ("A8", "V1", "GPOR", "female", 31, "2023-06-10"),
        (None, "V1", "GPOR", None, 31, "2023-06-10"),
    )
    assert marks(*rows, (None, "V1", "GPOR", None, 99, "2023-06-10")) == ([False] * 4, [False] * 4)
    assert marks(("A7", "V1", "GPOR", None, 57, "2023-06-10"), ("A7", "V2", "GPOR", "male", None, None))[1] == [False, False]
