"""What a column of a strange sheet holds, and that what may be a place is known as one. All values are invented."""

from __future__ import annotations

import pytest
from strange_sheets import sheet

from pipeline.mapping.column_content import Content, contents, missing_tokens


def column(heading: str, *texts: str) -> Content:
    return contents(sheet("\n".join([heading, *texts])), ())[heading]


@pytest.mark.parametrize(
    ("heading", "texts"),
    [
        ("P1", ("40.10011", "41.2")),
        ("P1", ("40.10011N", "41.20000N")),
        ("P2", ("17 512345",)),
        ("P2", ("4405110",)),
        ("Y", ("40.1", "41.2")),
        ("gps", ("see map",)),
        ("P3", ("40 12 15.5 N",)),
    ],
)
def test_what_may_be_a_place(heading: str, texts: tuple[str, ...]) -> None:
    assert column(heading, *texts).may_be_a_place


def test_readings_are_no_places() -> None:
    assert not any(column("T", *texts).may_be_a_place for texts in (("12.5", "13.25"), ("A", "L"), ("0",), ("13:05", "9:05")))


def test_units_beside_numbers_and_texts_that_begin_with_a_number() -> None:
    assert list(column("L", "15m", "50 m").numbers) == [15, 50]
    assert column("D", "7/27/04").numeric == 0
    assert column("P", "40.1N").numeric == 0


def test_missing_tokens() -> None:
    found = missing_tokens([sheet("T,pH,Lon\n12.5,NA,-99\n13.0,7,-99\n-99,6.8,-80.2\n-99,NULL,-80.3\n")])
    assert found == ("NA", "NULL", "-99")


def test_a_number_that_its_column_may_hold_is_no_missing_token() -> None:
    assert missing_tokens([sheet("Lon\n-99\n-99\n-98.9\n-99.1\n")]) == ()
    assert missing_tokens([sheet("Elev\n999\n999\n1200\n800\n")]) == ()
