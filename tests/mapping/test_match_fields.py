"""Headings matched to fields by words and content: a heading alone is not believed. All sheets are invented."""

from __future__ import annotations

from strange_sheets import sheet

from pipeline.mapping.column_content import contents
from pipeline.mapping.match_fields import Match, code_of, match_fields
from schemas.tables import fields


def matched(text: str) -> dict[str, Match]:
    return match_fields(contents(sheet(text), ()))


def test_a_heading_whose_content_does_not_fit_is_not_believed() -> None:
    """Rain as dates, a date as a number, a temperature as words."""
    found = matched("Rain mm,Water temp,pH\n7/27/04,cold,16.8\n7/28/04,warm,15.6\n")
    assert not {"visits.rain_mm", "visits.water_temp_c", "visits.ph"} & set(found)


def test_water_is_never_taken_for_air() -> None:
    found = matched("Water temp,Soil temp\n12.5,13\n13,14\n")
    assert found["visits.water_temp_c"].column == "Water temp"
    assert "visits.air_temp_c" not in found
    assert "visits.air_temp_c" not in matched("Body temp\n12.5\n13\n")


def test_a_second_column_that_would_do_makes_a_guess() -> None:
    found = matched("Water temp,Stream temp\n12.5,12.6\n13,13.1\n")["visits.water_temp_c"]
    assert not found.sure and "would do as well" in found.reason
    assert matched("Water temp,Species\n12.5,DFUS\n13,DFUS\n")["visits.water_temp_c"].sure


def test_each_column_fills_one_field() -> None:
    columns = [one.column for one in matched("Date,Time,Temp,Air temp,Species\n5/26/23,9:40,12,13,DFUS\n").values()]
    assert len(columns) == len(set(columns))


def test_whole_degrees_and_parts_of_angles_are_no_coordinates() -> None:
    found = matched("Lat,Long,Lat min\n40,-80,12.5\n41,-81,13.5\n")
    assert not {"sites.latitude", "sites.longitude"} & set(found)


def test_codes_in_the_words_of_surveys() -> None:
    stage, sky = fields("finds")["life_stage"], fields("visits")["sky"]
    assert [code_of(one, stage) for one in ("L", "Larvae", "egg mass", "egg_mass", "eft")] == [
        "larva",
        "larva",
        "egg_mass",
        "egg_mass",
        None,
    ]
    assert code_of("Mist", sky) == "fog"
