"""Files of figures: read as written."""

from __future__ import annotations

import pytest

from schemas.reference import data_file, figures, rule_figure


def test_a_figure_is_read_as_written_and_as_a_number() -> None:
    """The warm line of a stream is 25 °C (data/reference/rules.csv, a judgement)."""
    assert figures("rules")["warm_c"] == "25" and rule_figure("warm_c") == 25.0


def test_every_threshold_of_a_rule_is_a_number() -> None:
    assert len(figures("rules")) > 5 and all(rule_figure(name) == rule_figure(name) for name in figures("rules"))


def test_a_name_that_is_not_there_is_no_figure() -> None:
    with pytest.raises(KeyError):
        rule_figure("no_such_figure")
    assert not data_file("reference/no_such.csv").is_file()
