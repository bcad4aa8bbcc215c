"""The text of a first map: valid, refused until confirmed, and without a place or a person in it. All sheets are invented."""

from __future__ import annotations

import re
import tomllib

import map_shares
import pytest
from strange_sheets import TAXA, WIDE, sheet

from pipeline.errors import RillbookError
from pipeline.mapping.apply_map import apply_map
from pipeline.mapping.column_map import parse_map
from pipeline.mapping.first_map import first_map
from pipeline.mapping.write_first_map import open_points, written


def test_it_is_refused_until_every_question_and_guess_is_settled() -> None:
    text = written(first_map([sheet(WIDE)], TAXA))
    with pytest.raises(RillbookError, match=r"constant of visits.protocol is still 'ask'.*Write what is right"):
        parse_map(text, "m.toml")
    answered = text.replace('"ask"', '"visual_encounter"')
    with pytest.raises(RillbookError, match=r"guesses of the map not confirmed: reading.pivot_year, .* more\. Look at the line of each"):
        parse_map(answered, "m.toml")
    for name in tomllib.loads(answered)["confirm"]:
        assert name in str(refusal(re.sub(r"confirm = \[.*?\]", f'confirm = ["{name}"]', answered, flags=re.S)))
    (source,) = apply_map(parse_map(map_shares.confirmed(answered), "m.toml"), [sheet(WIDE)])
    assert {one.table: len(one.text) for one in source.mapped} == {"sites": 6, "visits": 6, "finds": 7}


def refusal(text: str) -> RillbookError:
    with pytest.raises(RillbookError) as refused:
        parse_map(text, "m.toml")
    return refused.value


def test_each_guess_has_its_reason_above_it_and_readings_have_examples() -> None:
    text = written(first_map([sheet(WIDE)], TAXA))
    for name in tomllib.loads(text)["confirm"]:
        own = re.escape(name.rpartition(".")[2] if name != "wide" else 'columns."Dusky larvae"')
        assert re.search(rf"# guess: .+\n(#.*\n)*\"?{own}\"? = ", text), name
    assert re.search(r"# guess: .*usual in degF alone\. Such as 69\.5, 69\.4, 78\.4\nair_temp_c", text)


def test_no_place_and_no_person_stands_in_it() -> None:
    more = WIDE.replace("Fish seen", "Owner").replace(",Y\n", ",Miller\n").replace(",N\n", ",Smith\n")
    for shown in (WIDE, more, WIDE.replace("Lat_dd", "P1").replace("Lon_dd", "P2")):
        text = written(first_map([sheet(shown)], TAXA))
        for secret in ("40.1", "40.3", "80.2", "80.1", "Pebble", "Hollow", '"AB"', "CD,", "Miller", "Smith"):
            assert secret not in text, secret


def test_numbers_that_may_be_a_place_are_shown_nowhere() -> None:
    """Whatever the heading says: neither as examples nor as a span."""
    text = written(first_map([sheet("Site,Date,Canopy,P1\nA,5/26/2023,40.10011,80.20022\nB,5/27/2023,40.20011,80.30022\n")], {}))
    assert "canopy_pct" in text and not re.search(r"40\.[12]|80\.[23]", text)


def test_strange_headings_are_written_as_toml_has_them() -> None:
    odd = sheet('Site "x\\,Date,Species,Count,a.b = [x] # y,Ünï\x7f\nA,5/26/2023,DFUS,1,2,3\nB,5/27/2023,DFUS,1,2,3\n', 'a"[1].csv')
    document = tomllib.loads(written(first_map([odd], {})))
    (source,) = document["source"]
    assert set(odd.cells.columns) == {source["sites"]["site_id"], "Date", "Species", "Count", *source["unused"]}
    apply_map(parse_map(map_shares.confirmed(written(first_map([odd], {}))).replace('"ask"', '"other"'), "m"), [odd])


def test_open_points_are_counted() -> None:
    proposed = first_map([sheet(WIDE)], TAXA)
    assert open_points(proposed) == (len(tomllib.loads(written(proposed))["confirm"]), 1)
