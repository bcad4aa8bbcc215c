"""What may be published: no place, no time of day, no free text; held against a list written by hand."""

from __future__ import annotations

from schemas.public import PUBLIC_TABLES, public_fields, purpose_of, withheld_titles

# Judgement, docs/publishing: what leads to a spring or to a person.
NEVER = {"site_name", "waterbody", "site_id", "verbatim_coordinates", "visit_date", "start_time", "end_time", "found_at", "animal_id"}


def test_nothing_that_leads_to_a_spring_or_a_person_is_public() -> None:
    for table in PUBLIC_TABLES:
        assert not NEVER & set(public_fields(table)), table


def test_every_public_table_has_one_key_a_purpose_and_a_square_where_it_has_a_place() -> None:
    for table in PUBLIC_TABLES:
        assert purpose_of(table).endswith("."), table
        assert any(field.key for field in public_fields(table).values()), table
    assert {"grid_step_deg", "latitude", "longitude", "month"} <= set(public_fields("visits"))


def test_the_titles_of_what_is_withheld_are_said_once_each() -> None:
    titles = withheld_titles()
    assert titles == sorted(set(titles)) and "site name" in titles
