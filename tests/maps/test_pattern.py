"""The pattern of finds as a table and a plot."""

from __future__ import annotations

from map_books import enough, parts_of, study

from pipeline.maps.pattern import describe_pattern, heat, pattern_plot


def test_the_words_count_what_the_table_holds_and_the_plot_is_sound() -> None:
    table = parts_of(study(enough(), enough(month="2021-09", start=40))).pattern
    words = describe_pattern(table)
    assert words and str(int(table["n_animals"].sum())) in words
    assert pattern_plot(table, "p").lstrip().startswith("<svg")


def test_a_place_without_a_temperature_is_white_and_a_warm_one_is_not() -> None:
    assert heat(float("nan")) == "white" and heat(5.0) != heat(24.0) != "white"
