"""Dates as people write them, by hand."""

from __future__ import annotations

import pytest

from pipeline.quality import dates as quality_dates

# ISO 8601-1 in the reading of the published rows (standards of the draft, section on dates); seconds by hand.
SECONDS = {
    "2021-02": 28 * 86400,
    "2020-02-29": 86400,
    "2021-060": 86400,
    "2007-11-13/15": 3 * 86400,
    "2007-11/12": 61 * 86400,
    "2007-12-31/2008-01-01": 2 * 86400,
    "2021-03-01T10:00/12:30": 9000,
    "2021-03-01T10:00-0500/2021-03-01T16:00Z": 3600,
    "2021-03-01T10:00": 60,
    "2021-03-01T10": 3600,
    "2021-03-01T10:00/02T10:00": 86400,
}


@pytest.mark.parametrize("text", SECONDS)
def test_length_of_a_date(text):
    span = quality_dates.read_span(text)
    assert span is not None and span.seconds == SECONDS[text]


@pytest.mark.parametrize(
    "text",
    ["2021-02-29", "2021-366", "2021-13", "21-01-01", "2021/13", "2021-01-05/2021-01-04", "2021-01-05/", "/2021", "2021-01-01T24:00",
     "2021-01-01T10:60", "2021-01T10:00", "2021-01-01T10:00+15:00", "0000", "２０２１", "2021-01-01 10:00", "2021-01-01T10:00/02"],
)  # fmt: skip
def test_no_date(text):
    assert quality_dates.read_span(text) is None


# How people write dates: by hand. What can be read in two ways is never read.
WRITTEN = {
    "8 May 1980": "1980-05-08", "May 8, 1980": "1980-05-08", "1980 May 8": "1980-05-08", "8.5.1980": None, "13.5.1980": "1980-05-13",
    "5.5.1980": "1980-05-05", "viii 1980": "1980-08", "1980-05-08": "1980-05-08", "9-10.iii.2000": "2000-03-09/2000-03-10",
    "3 April - 5 May 2001": "2001-04-03/2001-05-05", "10.iii-9.ii.2000": None, "31 June 2001": None, "spring 1999": None, "1501": None,
    "May": None, "12 May 80": None, "1970s": "1970-01-01/1979-12-31", "23rd Oct 2021": "2021-10-23", "2021-05-08 or 09": None,
}  # fmt: skip


@pytest.mark.parametrize("text", WRITTEN)
def test_dates_as_people_write_them(text):
    assert quality_dates.written_date(text) == WRITTEN[text]
