"""Every date that a text can mean.

`check_values/event_dates.csv` and `event_durations.csv` hold the published conformance rows for dates of the TDWG Biodiversity Data Quality
tests (CC BY 4.0; each row states its source): we may refuse what they read, and never read another date. Spreadsheet day numbers: ECMA-376
part 1 §18.17.4.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import pytest

from pipeline.reading.dates import possible_days
from pipeline.reading.style import Style

CHECKS = Path(__file__).parents[1] / "check_values"


def _checks(name: str) -> list[dict[str, str]]:
    with (CHECKS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


REFUSED = {
    "402": "year-day-month",
    "687": "weekday and 29th",
    "690": "Roman month",
    "691": "no day", "696": "no day", "699": "no day", "439": "no day", "440": "no day",
    "694": "Chinese signs",
    "697": "Danish month",
    "698": "a span", "701": "a span", "431": "a span",
    "700": "Roman month",
    "433": "an hour without minutes",
    "435": "a time in UTC: the local date may be another",
}  # fmt: skip


@pytest.mark.parametrize("row", _checks("event_dates.csv"), ids=lambda row: row["data_id"])
def test_no_published_date_is_read_as_another(row: dict[str, str]) -> None:
    days = possible_days(row["text"])
    if row["expected"] in ("none", "not valid"):
        assert len(days) != 1
    elif row["data_id"] in REFUSED:
        assert days == set()
    else:
        expected = row["text"][:10] if row["expected"] == "valid" else row["expected"]
        assert days == {dt.date.fromisoformat(expected)}


def test_every_refusal_of_a_published_date_is_listed() -> None:
    good = [row for row in _checks("event_dates.csv") if row["expected"] not in ("none", "not valid")]
    assert {row["data_id"] for row in good if not possible_days(row["text"])} == set(REFUSED)


# Rows of the same tests that no field of ours can meet: 396, 426 and 681 are empty (see the columns of nothing below); 680 and 683 to 685
# hold a second date beside the one as written, for which a visit has one field.
LONGER_THAN_A_DAY = {
    "1065": "three days", "1071": "a span of more than a year", "1072": "a year", "1073": "a leap year",
}  # fmt: skip


@pytest.mark.parametrize("row", _checks("event_durations.csv"), ids=lambda row: row["data_id"])
def test_published_durations_of_a_date(row: dict[str, str]) -> None:
    """MEASURE_EVENTDATE_DURATIONINSECONDS: a visit's date is one day of 86,400 s; what lasts longer is refused, not cut."""
    days = possible_days(row["text"])
    if row["expected"] == "NOT_REPORTED":
        assert days == set()
    elif row["data_id"] in LONGER_THAN_A_DAY:
        assert days == set() and int(row["expected"]) > 86400
    else:
        (day,) = days
        assert int(row["expected"]) == (dt.timedelta(days=1)).total_seconds() and day.isoformat() == row["text"]


@pytest.mark.parametrize(
    ("text", "style", "days"),
    [
        ("5/6/2024", Style(), {"2024-05-06", "2024-06-05"}),
        ("5/6/2024", Style(date_order="dmy"), {"2024-06-05"}),
        ("25/6/2024", Style(), {"2024-06-25"}),
        ("31 May 24", Style(), {"1924-05-31", "2024-05-31"}),
        ("31 May 24", Style(pivot=30), {"2024-05-31"}),
        ("31 May 94", Style(pivot=30), {"1994-05-31"}),
        ("31 Ju 2024", Style(), set()),
        ("29 February 2023", Style(), set()),
        ("2024-05-31 23:15", Style(), {"2024-05-31"}),
        ("2024-05-31T23:15Z", Style(), set()),
        ("60", Style(date_order="serial"), set()),
        ("45443", Style(date_order="serial"), {"2024-05-31"}),
        ("45443.75", Style(date_order="serial"), {"2024-05-31"}),
        ("45443", Style(), set()),
        ("", Style(), set()),
    ],
)
def test_what_a_text_can_mean_by_hand(text: str, style: Style, days: set[str]) -> None:
    """45443 is 31 May 2024: 1 January 2024 is 45292 (ECMA-376), and 151 days follow."""
    assert possible_days(text, style) == {dt.date.fromisoformat(day) for day in days}
