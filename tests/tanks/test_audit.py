"""The verdict: inside, warm, cold or unknown, since when; unknown is never inside. The lines of the tests are invented."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from tanks.tank_book import TAXON, audited, steady, targets

from pipeline.settings.limits import ctmax_limit, group_cap


def test_a_steady_chiller_is_inside_all_the_time() -> None:
    found = audited(steady("2025-07-01", "2025-07-08"))
    assert found.state == "inside" and found.all_inside
    assert found.sentence == "T1: inside, 12.6 °C at 7 July 2025 23:30, and all the time since 1 July 2025 00:00."


def warm_week() -> pd.Series:
    temps = steady("2025-07-01", "2025-07-08")
    hot = temps["2025-07-03 12:00":"2025-07-05 11:30"].index
    temps[hot] = np.where(np.arange(len(hot)) % 10 == 5, 16.9, 17.0)
    return temps


def test_a_warm_spell_has_its_moments_of_crossing() -> None:
    temps = warm_week()
    found = audited(temps)
    spells = found.sensors[0].verdict.spells  # type: ignore[union-attr]
    moment = spells[spells["why"] == "above the act line"].iloc[0]
    # by hand: the line from one reading to the next passes 16 °C at that share of the half hour
    half = pd.Timedelta(minutes=30)
    for name, at in (("start", pd.Timestamp("2025-07-03 11:30")), ("end", pd.Timestamp("2025-07-05 11:30"))):
        share = (16 - temps[at]) / (temps[at + half] - temps[at])
        assert abs(moment[name] - (at + half * share)) < pd.Timedelta("1ms")
    assert found.state == "inside" and not found.all_inside
    assert "It was warm from 3 July 2025 11:5" in found.sentence and "at most 17 °C" in found.sentence


def test_warm_at_the_end_says_since_when() -> None:
    found = audited(warm_week(), end="2025-07-05")
    assert found.state == "warm" and found.sentence.startswith("T1: warm since 3 July 2025 11:5")
    assert "must never be reached" not in found.sentence


def test_at_the_ceiling_the_sentence_says_so() -> None:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-07 20:00":] = 18.0
    found = audited(temps + 0.01)
    assert found.state == "warm" and "18 °C must never be reached" in found.sentence


def test_a_day_above_the_band_is_warm_though_no_moment_was() -> None:
    found = audited(steady("2025-07-01", "2025-07-08", 14.6))
    assert found.state == "warm" and "the day's mean is above the band" in found.sentence


def test_below_the_floor_is_cold() -> None:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-07 20:00":] = 4.5
    assert audited(temps + 0.01).state == "cold"


@pytest.mark.parametrize(("end", "state"), [("2025-07-08 01:30", "inside"), ("2025-07-08 01:31", "unknown")])
def test_a_reading_older_than_two_hours_is_no_reading(end: str, state: str) -> None:
    """Source: the method, section 10: green only with a reading under 2 h old."""
    assert audited(steady("2025-07-01", "2025-07-08"), end=end).state == state


def test_a_dead_sensor_is_unknown_and_never_inside() -> None:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-05 06:00":] = 12.5
    found = audited(temps)
    assert found.state == "unknown" and "since 5 July 2025 06:00" in found.sentence


def test_a_dead_sensor_that_shows_heat_is_unknown_too() -> None:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-05 06:00":] = 19.0
    assert audited(temps).state == "unknown"


def test_still_for_less_than_a_day_is_no_fault() -> None:
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-04 06:00":"2025-07-05 05:00"] = 12.5
    assert audited(temps).all_inside


def test_a_gap_is_unknown_and_ends_what_was_warm() -> None:
    temps = warm_week()
    found = audited(temps.drop(temps["2025-07-04 00:00":"2025-07-04 09:30"].index))
    spells = found.sensors[0].verdict.spells  # type: ignore[union-attr]
    assert spells.loc[spells["why"] == "above the act line", "hours"].sum() == pytest.approx(48 - 10.5, abs=1)
    gap = spells[spells["why"] == "no reading"]
    assert gap["hours"].tolist() == [10.5]


def test_no_reading_no_logger_and_a_logger_elsewhere_are_unknown() -> None:
    assert audited(None).state == "unknown"
    in_air = audited(steady("2025-07-01", "2025-07-08"), medium="air")
    assert in_air.state == "unknown" and "No logger reads the medium" in in_air.sentence and not in_air.all_inside


def test_a_month_without_evidence_is_never_inside_and_says_so() -> None:
    rows = targets(
        {"months": ["6", "8"]},
        {"months": ["7"], "status": "refused", **dict.fromkeys(("band_low", "set_point", "band_high", "act_line"), np.nan)},
    )
    found = audited(steady("2025-07-01", "2025-07-08"), rows)
    assert found.state == "unknown" and "no evidence of the wild" in found.sentence
    assert any("No evidence for larva in water in July" in words for words in found.sensors[0].used)
    hot = steady("2025-07-01", "2025-07-08", 19.0)
    assert audited(hot, rows).state == "warm", "the ceiling holds without evidence too"


def test_a_taxon_without_targets_has_the_limits_of_its_group_alone() -> None:
    """Source: data/reference/limits.csv, heat limit of the species less its margin and cap of the group."""
    found = audited(steady("2025-07-01", "2025-07-08"), targets().iloc[:0])
    ceiling = min(float(ctmax_limit(TAXON["scientific_name"])["value"]), float(group_cap("cool_stream")["value"]))  # type: ignore[index]
    assert found.sensors[0].days["ceiling"].unique().tolist() == [ceiling]
    assert found.state == "unknown" and any("only the limits that hold for its group" in words for words in found.sensors[0].used)


def test_an_unknown_population_gets_the_lowest_line_of_each() -> None:
    rows = targets({}, {"population": "south", "band_low": 12.0, "set_point": 13.0, "band_high": 15.0, "act_line": 17.0, "ceiling": 17.5})
    for own in ("", None, np.nan, "east"):
        found = audited(steady("2025-07-01", "2025-07-08"), rows, enclosure={"population": own})
        day = found.sensors[0].days.iloc[0]
        assert (day["band_low"], day["band_high"], day["act_line"], day["ceiling"]) == (11.0, 14.0, 16.0, 17.5)
        assert any("lowest line of north and south" in words for words in found.sensors[0].used)
    assert audited(steady("2025-07-01", "2025-07-08"), rows, enclosure={"population": "south"}).sensors[0].days["act_line"].iloc[0] == 17.0


def test_no_line_of_an_unknown_population_is_warmer_than_any_known_one() -> None:
    rows = targets(
        {"months": ["6"]}, {"population": "south", "ceiling": 15.0, "act_line": 14.0, "band_high": 13.0, "months": ["7"]}, {"months": ["7"]}
    )
    found = audited(steady("2025-06-29", "2025-07-02"), rows, start="2025-06-29", end="2025-07-02", enclosure={"population": ""})
    days = found.sensors[0].days
    assert (days["ceiling"] == 15.0).all() and (days["act_line"] <= 14.5).all() and (days["band_high"] <= 14.0).all()


def test_a_metamorph_is_held_against_its_own_lines_from_the_logged_day_on() -> None:
    rows = targets(
        {}, {"life_stage": "metamorph", "band_low": 9.0, "set_point": 10.0, "band_high": 12.0, "act_line": 14.0, "ceiling": 15.0}
    )
    event = {"event_date": "2025-07-04", "event": "metamorphosed"}
    found = audited(steady("2025-07-01", "2025-07-08", 12.6), rows, events=[event])
    days = found.sensors[0].days
    assert days["stage"].tolist() == ["larva"] * 3 + ["metamorph"] * 4
    assert found.stage == "metamorph" and found.state == "warm" and "since 4 July 2025 00:00" in found.sentence
    adult = {"event_date": "2025-07-06", "event": "stage_reached", "life_stage": "adult"}
    later = audited(steady("2025-07-01", "2025-07-08", 12.6), rows, events=[event, adult])
    assert later.sensors[0].days["stage"].tolist()[-2:] == ["adult"] * 2 and later.state == "unknown"


def test_only_the_time_with_animals_in_it_counts() -> None:
    temps = pd.concat([steady("2025-07-01", "2025-07-04", 20), steady("2025-07-04", "2025-07-08")])
    assert audited(temps, enclosure={"since": pd.Timestamp("2025-07-04")}).all_inside


def test_too_cold_is_unsafe_where_temperature_is_constant() -> None:
    from tanks.tank_book import ENCLOSURE, book

    from pipeline.tanks.audit import audit_enclosure
    from pipeline.tanks.stretch import Stretch

    stretch = Stretch(pd.Timestamp("2025-07-01"), pd.Timestamp("2025-07-08"), "UTC")
    temps = steady("2025-07-01", "2025-07-08")
    temps["2025-07-07 22:00":] = 9.5
    spring = {"scientific_name": "Eurycea nana", "group": "warm_spring"}
    found = audit_enclosure(book(temps + 0.01), ENCLOSURE, targets(), spring, stretch)
    assert found.state == "cold" and found.sensors[0].days["cold_line"].iloc[0] == 10.0


WATER: dict[str, Any] = {"tested_on": "2025-07-05", "ph": 8.0, "water_temp_c": 20.0}


# Source: Emerson et al. 1975 (B35 of tests/check_values/water.csv: 3.807 % at pH 8 and 20 °C); NH3 is 1.2159 of its nitrogen (IUPAC).
def test_ammonia_is_computed_and_held_against_its_limit() -> None:
    found = audited(steady("2025-07-01", "2025-07-08"), tests=[{**WATER, "total_ammonia_mg_l_n": 0.5}])
    row = found.water.set_index("quantity").loc["Un-ionised ammonia"]
    assert row["value"] == pytest.approx(0.5 * 0.03807 * 1.2159, abs=1e-5) and row["state"] == "act"
    assert found.water_acts == ["Un-ionised ammonia"] and not found.all_inside


def test_ammonia_without_ph_is_not_known_and_not_fine() -> None:
    found = audited(steady("2025-07-01", "2025-07-08"), tests=[{"tested_on": "2025-07-05", "total_ammonia_mg_l_n": 0.5}])
    assert found.water["state"].tolist() == ["not known"]


# Source: data/reference/water_limits.csv (nitrite_act 0.3, nitrate_aim_below 2 and nitrate_act 10 mg/L as N, chlorine any).
@pytest.mark.parametrize(
    ("name", "value", "state"),
    [
        ("nitrite_mg_l_n", 0.05, "fine"), ("nitrite_mg_l_n", 0.2, "look"), ("nitrite_mg_l_n", 0.3, "act"), ("nitrate_mg_l_n", 2.0, "fine"),
        ("nitrate_mg_l_n", 5.0, "look"), ("nitrate_mg_l_n", 10.0, "act"), ("chlorine_mg_l", 0.0, "fine"), ("chlorine_mg_l", 0.01, "act"),
        ("dissolved_oxygen_mg_l", 9.0, "fine"), ("dissolved_oxygen_mg_l", 7.0, "look"), ("dissolved_oxygen_mg_l", 6.0, "act"),
    ],
)  # fmt: skip
def test_limits_of_water(name: str, value: float, state: str) -> None:
    found = audited(steady("2025-07-01", "2025-07-08"), tests=[{"tested_on": "2025-07-05", "water_temp_c": 20.0, name: value}])
    assert found.water["state"].tolist() == [state]
    assert found.water["kind"].iloc[0] and found.water["limit"].iloc[0]


def test_only_the_latest_test_decides() -> None:
    tests = [{"tested_on": "2025-07-02", "chlorine_mg_l": 0.5}, {"tested_on": "2025-07-05", "chlorine_mg_l": 0.0}]
    found = audited(steady("2025-07-01", "2025-07-08"), tests=tests)
    assert found.water_acts == [] and found.water["state"].tolist() == ["fine", "act"]
