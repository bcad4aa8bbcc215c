"""The course as SVG: the same for the same input, open at gaps, hatched where unknown, and whole XML whatever a code holds."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pandas as pd
from tanks.tank_book import audited, steady

from pipeline.tanks.audit import Audit
from pipeline.tanks.pages.plot import course_svg


def drawn(found: Audit, what: str = "Logger") -> ET.Element:
    (sensor,) = found.sensors
    assert sensor.verdict is not None
    args = (what, found.stretch, sensor.days, sensor.course, sensor.verdict.spells, sensor.gap_h, "words", "s0")
    assert course_svg(*args) == course_svg(*args)
    return ET.fromstring(course_svg(*args))


def pieces(svg: ET.Element, kind: str) -> list[ET.Element]:
    return [one for one in svg.iter() if one.get("class") == kind]


def test_a_gap_breaks_the_line_and_is_hatched() -> None:
    whole = steady("2025-07-01", "2025-07-08")
    svg = drawn(audited(whole))
    assert pieces(svg, "course")[0].get("d", "").count("M") == 1 and not pieces(svg, "unknown")
    holed = whole[(whole.index < "2025-07-03") | (whole.index > "2025-07-04")]
    svg = drawn(audited(holed))
    assert pieces(svg, "course")[0].get("d", "").count("M") == 2 and len(pieces(svg, "unknown")) == 1


def test_higher_is_drawn_higher_and_band_act_and_ceiling_are_there() -> None:
    svg = drawn(audited(steady("2025-07-01", "2025-07-08")))
    act, ceiling = (float(pieces(svg, kind)[0].get("d", "").split(" ")[1].split("H")[0]) for kind in ("act", "ceiling"))
    band = pieces(svg, "band")[0]
    assert ceiling < act < float(band.get("y", "0"))


def test_a_code_cannot_break_it_and_no_reading_is_no_course() -> None:
    svg = drawn(audited(steady("2025-07-01", "2025-07-02"), end="2025-07-02"), 'L<1>&"')
    assert svg[0].text == 'L<1>&"' or 'L<1>&"' in [one.text for one in svg.iter()]
    assert pieces(drawn(audited(None)), "course")[0].get("d") == ""
    assert pd.Timestamp("2025-07-08") == audited(None).stretch.end
