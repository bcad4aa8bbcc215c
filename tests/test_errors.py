"""An error says where, what, and what to do next, in one line."""

from __future__ import annotations

from pipeline.errors import RillbookError


def test_where_what_and_the_remedy_in_this_order() -> None:
    error = RillbookError("the book is empty.", "Load some sheets first.", "a.csv, line 3")
    assert str(error) == "a.csv, line 3: the book is empty. Load some sheets first."
    assert (error.what, error.remedy, error.where) == ("the book is empty.", "Load some sheets first.", "a.csv, line 3")


def test_without_a_place_or_a_remedy_there_is_no_stray_sign() -> None:
    assert str(RillbookError("It broke.", "")) == "It broke."
