"""The page of a permit says what it does not know."""

from __future__ import annotations

from report_study import PERMIT, by_hand

from pipeline.reports import permit as permit_report
from pipeline.reports import permit_page
from pipeline.settings import parse_settings


def test_the_permit_page_says_what_it_does_not_know() -> None:
    mine, rows = by_hand()
    settings = parse_settings(
        '[book]\ntime_zone = "UTC"\n[[taxon]]\ncode = "EWIL"\nscientific_name = "Eurycea wilderae"\ngroup = "cool_stream"\n', "t"
    )
    limits = permit_report.against_limits(PERMIT, rows, [2023, 2024, 2025])
    text = permit_page.page(PERMIT, mine, rows, limits, [2023, 2024, 2025], settings, [])
    for said in (
        "1 visit: each names no permit", "1 visit: each names this permit in a year that it does not cover",
        "1 visit: each has a site without a county",
        "1 find without a disposition: counted as captured", "1 find with a count such as 3+", "No activity under this permit in 2025",
    ):  # fmt: skip
        assert said in text, said
    assert text.index("Check before you sign") < text.index("<table"), "what to check stands before the tables"
    assert "permit_summary.csv" in text and "2024-05-01" not in text.partition("</ul>")[2].partition("<table")[2], (
        "dates stand in the CSV file"
    )
