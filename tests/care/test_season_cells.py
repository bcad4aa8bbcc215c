"""The cells of a card, by hand. °F by the definition of the degree Fahrenheit, °F = 1.8 °C + 32."""

from __future__ import annotations

import math
from typing import Any

import pytest

from pipeline.care.season_cells import as_degrees, season_cells, seasons_of, span_in_words, span_of
from pipeline.writing.words import fahrenheit

SEASONS = seasons_of((6, 7, 8, 9), (12, 1, 2, 3))
NOTHING = {"status": "refused", "n_readings": 0, "cut_by_ceiling": False}


def row(point: float, act: float, **changes: Any) -> dict[str, Any]:
    lines = {
        "set_point_low": point,
        "set_point": point,
        "set_point_high": point,
        "band_low": point - 1,
        "band_high": point + 1,
        "act_line": act,
    }
    return {"status": "target", "n_readings": 9, "borrowed_from": "", **lines, **changes}


def months(**known: dict[str, Any]) -> dict[int, dict[str, Any]]:
    return {month: known.get(f"m{month}", NOTHING) for month in range(1, 13)}


def test_seasons_are_the_books() -> None:
    assert SEASONS == {"spring": (4, 5), "summer": (6, 7, 8, 9), "autumn": (10, 11), "winter": (12, 1, 2, 3)}
    # A book whose warm season is one month, and whose cold one does not pass New Year.
    assert seasons_of((7,), (1, 2)) == {
        "spring": (3, 4, 5, 6), "summer": (7,), "autumn": (8, 9, 10, 11, 12), "winter": (1, 2),
    }  # fmt: skip
    assert [span_in_words(SEASONS[name]) for name in ("spring", "winter")] == ["April, May", "December to March"]


def test_degrees_are_rounded_in_the_safe_direction() -> None:
    # 19.5 °C is 67.1 °F, 14 °C is 57.2 °F: tops down, bottoms up.
    assert (
        as_degrees(19.5).replace("\u00a0", " ") == "19.5 °C (67 °F)" and as_degrees(14, up=True).replace("\u00a0", " ") == "14 °C (58 °F)"
    )
    assert [part.replace("\u00a0", " ") for part in span_of(13, 17, up=True)] == ["13–17 °C", "56–62 °F"]
    # One whole °C: a bottom rounded up must not stand over the top, nor over what is held.
    assert span_of(8, 10, up=True, least=fahrenheit(8))[1].replace("\u00a0", " ") == "46–50 °F"
    assert [part.replace("\u00a0", " ") for part in span_of(14, 14, up=True)] == ["14 °C", "57 °F"]


def test_a_season_spans_its_months_and_each_month_says_its_own() -> None:
    cell = season_cells(months(m6=row(14, 17), m7=row(16, 19.5), m8=row(16, 19.5), m9=row(13, 16)), SEASONS, True, False)["summer"]
    assert (cell["set"].replace("\u00a0", " "), cell["low"], cell["high"]) == ("13–16 °C", 12, 17)
    assert [line["label"] for line in cell["lines"]] == ["Jun", "Jul–Aug", "Sep"]
    assert cell["lines"][1]["act_words"].replace("\u00a0", " ") == "19.5 °C (67 °F)" and cell["unknown"] == []


def unknown(known: dict[int, dict[str, Any]], season: str) -> list[str]:
    return [text.replace("\u00a0", " ") for text in season_cells(known, SEASONS, True, False)[season]["unknown"]]


def test_months_without_evidence_borrow_from_the_cooler_side_of_the_year() -> None:
    known = months(m9=row(13, 16), m10=row(9, 12))
    # August borrows September's and never a warmer month's. In winter the coolest month that is known stands, if it is near enough.
    assert unknown(known, "summer") == ["Jun–Aug not known: borrow Sep’s 13 °C (55 °F) or ask"]
    assert unknown(known, "winter") == ["Dec–Feb not known: borrow Oct’s 9 °C (48 °F) or ask", "Mar not known: do not guess, ask"]
    assert season_cells(known, SEASONS, True, False)["winter"]["set"] == ""
    # May and June lie before a July that alone is known: it is warmer than they are.
    assert unknown(months(m7=row(16, 19)), "spring") == ["Apr–May not known: do not guess, ask"]
    assert unknown(months(m4=row(7, 10), m7=row(16, 19)), "spring") == ["May not known: borrow Apr’s 7 °C (44 °F) or ask"]


def test_winter_never_borrows_from_a_warm_month() -> None:
    # July is as near to March as October is to February
    known = months(m7=row(14, 15), m10=row(8, 10))
    assert unknown(known, "winter") == ["Dec–Feb not known: borrow Oct’s 8 °C (46 °F) or ask", "Mar not known: do not guess, ask"]


@pytest.mark.parametrize(("borrows", "both_ways"), [(False, False), (False, True)])
def test_eggs_and_springs_borrow_nothing(borrows: bool, both_ways: bool) -> None:
    cells = season_cells(months(m7=row(13, 15)), SEASONS, borrows, both_ways)
    assert all("borrow" not in text for cell in cells.values() for text in cell["unknown"])
    under = cells["summer"]["lines"][0]["under"].replace("\u00a0", " ")
    # The lower act line stands 1 °C under the band, and is rounded up in °F: 11 °C is 51.8 °F.
    assert under == ("11 °C (52 °F)" if both_ways else "")


def test_a_borrowed_month_says_so() -> None:
    lent = row(13, 16, status="borrowed", borrowed_from="9")
    line = season_cells(months(m8=lent), SEASONS, True, False)["summer"]["lines"][0]
    assert line["note"] == ", borrowed from September" and math.isclose(line["act"], 16)
