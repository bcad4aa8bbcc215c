"""What may be shown: one square a site, nothing finer, nothing that a later publication could take back."""

from __future__ import annotations

import math
import re

import numpy as np
import pandas as pd
import pytest
from examples import examples
from hypothesis import given, settings
from hypothesis import strategies as st
from public_cases import CLASSES, KEY, book_settings, find, published, rows, site, visit

from pipeline.formulas.grid_squares import public_uncertainty_m
from pipeline.publishing.protect import opaque
from pipeline.publishing.shown import Shown
from pipeline.publishing.site_squares import site_squares, uncertainty_class_m
from schemas.public import BY_HAND, NEW, NOT_SHARED, PUBLIC_TABLES, is_shared, public_fields
from schemas.tables import fields


# Generalising of the point 35.61234, -83.48901: ../shared/reference/standards.md §4.5, geodesic on WGS 84.
@pytest.mark.parametrize(
    ("step", "south", "west", "centre", "radius", "with_12_m"),
    [
        ("0.001", 35.612, -83.490, (35.6125, -83.4895), 71.6, 84),
        ("0.01", 35.61, -83.49, (35.615, -83.485), 716.2, 729),
        ("0.1", 35.6, -83.5, (35.65, -83.45), 7161.8, 7174),
        ("1", 35.0, -84.0, (35.5, -83.5), 71748.6, 71761),
    ],
)
def test_a_place_is_generalised_as_in_the_worked_example(step, south, west, centre, radius, with_12_m):
    chosen = book_settings("0.001", AA=step)
    one = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1")])
    square = site_squares(one, chosen, {}).iloc[0]
    assert square["step"] == step
    sides = tuple(float(square[side]) for side in ("south", "west", "north", "east"))
    assert sides[:2] == (south, west)
    assert public_uncertainty_m(sides, 12) == with_12_m
    (shown,) = published(one, chosen)[0]["visits"].to_dict("records")
    assert (shown["latitude"], shown["longitude"]) == centre
    # 12 m fall into the class of 100 m
    assert shown["coordinate_uncertainty_m"] == math.ceil(radius + 100)


# 0.3 / 0.1 is 2.9999999999999996 in binary; cutting instead of flooring would move the west one square east: standards.md §4.5.
@pytest.mark.parametrize(
    ("latitude", "longitude", "south", "west"), [(0.3, -0.05, 0.3, -0.1), (-0.05, 0.3, -0.1, 0.3), (35.65, -83.5, 35.6, -83.5)]
)
def test_squares_are_floored_in_decimals(latitude, longitude, south, west):
    one = rows([site("S1", latitude, longitude)], [visit("V1", "S1")], [find("F1", "V1", "BB")])
    square = site_squares(one, book_settings(), {}).iloc[0]
    assert (square["south"], square["west"]) == (south, west)


def steps_of(kept) -> dict[str, str]:
    return {site: one.step for site, one in kept.shown.items()}


def test_a_datum_is_changed_before_the_square_is_chosen():
    """NAD27 lies 15.12 m away at 35.6, -83.5 (standards.md §3.5): enough to cross a side that is 5 m off."""
    one = rows([site("S1", 35.59997, -83.45, datum="NAD27")], [visit("V1", "S1")], [find("F1", "V1", "BB")])
    assert site_squares(one, book_settings(), {}).iloc[0]["south"] == 35.6


def test_a_site_has_one_square_as_coarse_as_the_most_sensitive_that_was_found_there():
    one = rows(
        [site("S1"), site("S2", 35.71, -83.2)],
        [visit("V1", "S1"), visit("V2", "S1", visit_date="2023-01-02"), visit("V3", "S2")],
        [find("F1", "V1", "AA", latitude=35.7, longitude=-83.3), find("F2", "V2", "CC"), find("F3", "V3", "AA")],
    )
    shown = published(one)[0]["visits"]
    assert sorted(shown["grid_step_deg"]) == ["0.01", "1", "1"]
    assert set(shown.loc[shown["grid_step_deg"] == "1", "latitude"]) == {35.5}


@pytest.mark.parametrize(
    ("more", "at", "step"),
    [
        ({"habitat": "spring"}, "rock_in_flow", "1"),
        ({"habitat": "seep"}, "rock_in_flow", "1"),
        ({"habitat": "cave"}, "rock_in_flow", "1"),
        ({}, "seep_edge", "1"),
        ({}, "rock_in_flow", "0.01"),
        ({"public_precision_deg": "0.1"}, "rock_in_flow", "0.1"),
    ],
)
def test_seeps_springs_and_caves_stand_in_squares_of_a_degree(more, at, step):
    one = rows([site("S1", **more)], [visit("V1", "S1")], [find("F1", "V1", microhabitat=at)])
    assert list(published(one)[0]["visits"]["grid_step_deg"]) == [step]


def test_withheld_and_placeless_sites_are_left_out_and_counted_for_the_keeper_alone():
    one = rows(
        [site("S1", public_precision_deg="withheld"), site("S2", None, None), site("S3")],
        [visit("V1", "S1"), visit("V2", "S2"), visit("V3", "S3")],
        [find("F1", "V1"), find("F2", "V2"), find("F3", "V3")],
    )
    tables, kept = published(one)
    assert len(tables["visits"]) == len(tables["finds"]) == 1
    assert kept.counts["finds at withheld sites"] == kept.counts["finds at sites without coordinates"] == 1
    assert steps_of(kept) == {"S3": "0.01"}


@pytest.mark.parametrize("secret", [{"stage": "egg_mass"}, {"microhabitat": "nest_water"}, {"microhabitat": "nest_edge"}])
def test_eggs_and_nests_never_show_and_their_visit_claims_no_complete_list(secret):
    one = rows([site("S1")], [visit("V1", "S1"), visit("V2", "S1")], [find("F1", "V1", **secret), find("F2", "V2", "BB")])
    tables, kept = published(one)
    assert len(tables["finds"]) == 1 and kept.counts["finds of eggs or at nests"] == 1
    shown = tables["visits"].set_index("event_id")["all_counted"]
    with_find = tables["finds"]["event_id"].iloc[0]
    assert shown[with_find] and shown.drop(with_find).isna().all()
    assert set(tables["absences"]["event_id"]) == {with_find}


def test_a_taxon_that_is_withheld_is_named_nowhere():
    one = rows([site("S1")], [visit("V1", "S1"), visit("V2", "S1", protocol="chance", target_taxa=None)], [find("F1", "V1", "DD")])
    tables, kept = published(one)
    text = "".join(table.to_csv() for table in tables.values())
    assert "DD" not in text and "dd" not in re.sub(r"urn:uuid:\S+", "", text)
    assert kept.counts["finds of a taxon with a coarser class than the square of its site"] == 1
    assert len(tables["visits"]) == 1, "a chance visit without a find would say that something is hidden"


def test_a_sensitive_taxon_found_later_changes_nothing_that_anyone_sees():
    first = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1")])
    before, kept = published(first)
    assert steps_of(kept) == {"S1": "0.01"}
    later = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1"), find("F2", "V1", "CC")])
    after, again = published(later, before=kept.shown)
    for table in before:
        pd.testing.assert_frame_equal(before[table], after[table])
    assert again.counts["finds of a taxon with a coarser class than the square of its site"] == 1


def test_a_site_is_never_shown_finer_than_before():
    first = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1"), find("F2", "V1", "CC")])
    _, kept = published(first)
    without = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1")])
    assert list(published(without, before=kept.shown)[0]["visits"]["grid_step_deg"]) == ["1"]
    assert list(published(without)[0]["visits"]["grid_step_deg"]) == ["0.01"]


def test_a_site_that_is_made_coarser_gets_new_codes_and_is_named_to_the_keeper():
    one = rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1")])
    fine, kept = published(one)
    coarse, again = published(rows([site("S1", public_precision_deg="1")], [visit("V1", "S1")], [find("F1", "V1")]), before=kept.shown)
    assert list(coarse["visits"]["grid_step_deg"]) == ["1"] and again.coarser == ["S1"]
    assert set(fine["visits"]["event_id"]).isdisjoint(coarse["visits"]["event_id"])
    assert set(fine["finds"]["occurrence_id"]).isdisjoint(coarse["finds"]["occurrence_id"])


# Humboldt Extension, hierarchy document §3 (standards.md §1.8): of incomplete lists infer nothing, and never infer the scope afterwards.
@pytest.mark.parametrize(
    ("more", "finds", "aside", "absent"),
    [
        ({}, [], {}, ["AA"]),
        ({}, [find("F1", "V1")], {}, []),
        ({"target_taxa": "AA|BB"}, [], {}, ["AA"]),
        ({"all_counted": None}, [], {}, []),
        ({"all_counted": False}, [], {}, []),
        ({"target_taxa": None}, [], {}, []),
        ({}, [], {"held": ["V1"]}, []),
        ({}, [], {"unsettled": ["V1"]}, []),
        ({"target_taxa": "AA"}, [find("F1", "V1", "EE", id_certainty="unsure")], {}, []),
        ({"target_taxa": "AA"}, [find("F1", "V1", "EE")], {}, ["AA"]),
    ],
)
def test_absence_is_stated_only_where_scope_and_completeness_were_recorded(more, finds, aside, absent):
    chosen = book_settings(AA="0.01", BB="0.1", EE="0.01")
    tables, _ = published(rows([site("S1")], [visit("V1", "S1", **more)], finds, **aside), chosen)
    # BB is more sensitive than the square of this site: it is never named there, found or not
    assert list(tables["absences"]["taxon"]) == absent
    assert "BB" not in tables["visits"].to_csv()


def test_public_codes_are_opaque_stable_and_depend_on_the_secret():
    code = opaque(KEY, "visit", "S1-2024-06-17", "0.1")
    assert re.fullmatch(r"urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}", code)  # RFC 9562 §5.8
    assert code == opaque(KEY, "visit", "S1-2024-06-17", "0.1")
    others = [opaque(KEY[::-1], "visit", "S1-2024-06-17", "0.1"), opaque(KEY, "find", "S1-2024-06-17", "0.1")]
    others += [opaque(KEY, "visit", "S1-2024-06-18", "0.1"), opaque(KEY, "visit", "S1-2024-06-17", "1")]
    assert len({code, *others}) == 5


def test_the_list_of_codes_leads_back_to_the_book():
    tables, kept = published(rows([site("S1")], [visit("V1", "S1")], [find("F1", "V1"), find("F2", "V1", stage="egg_mass")]))
    assert dict(zip(kept.codes["code"], kept.codes["public_code"], strict=True)) == {
        "V1": tables["visits"]["event_id"].iloc[0],
        "F1": tables["finds"]["occurrence_id"].iloc[0],
    }


def test_the_order_of_the_book_is_not_the_order_of_the_publication():
    given_sites = [site(f"S{n}", 35.0 + n / 7, -83.0 - n / 5) for n in range(6)]
    visits = [visit(f"V{n}", f"S{n % 6}") for n in range(18)]
    finds = [find(f"F{n}", f"V{n % 18}", "BB") for n in range(50)]
    there, _ = published(rows(given_sites, visits, finds))
    back, _ = published(rows(given_sites[::-1], visits[::-1], finds[::-1]))
    for table in there:
        pd.testing.assert_frame_equal(there[table], back[table])
    assert there["visits"]["latitude"].is_monotonic_increasing


def test_what_an_uncertainty_becomes():
    assert [uncertainty_class_m(value) for value in (1, 100, 100.5, 5000, math.nan, 1e9)] == [100, 100, 1000, 10000, 10000, 20037509]


# Typed by hand, so that a new field of free text does not slip into a publication.
PUBLIC_TEXT = {"code", "scientific_name", "taxon", "event_id", "occurrence_id", "point_id", "month", "footprint_wkt", "square_id", "few"}


def test_no_free_text_and_nothing_protected_is_public():
    for table in PUBLIC_TABLES:
        for name, field in public_fields(table).items():
            assert field.kind != "text" or name in PUBLIC_TEXT, f"{table}.{name}"
    for table in BY_HAND:
        own = set(public_fields(table)) - set(NEW[table].to_schema().columns if table in NEW else ())
        assert own and all(is_shared(fields(table)[name]) for name in own)
    assert {"site_id", "population", "elevation_m", "start_time", "photo", "thermometer"}.isdisjoint(
        name for table in PUBLIC_TABLES for name in public_fields(table)
    )
    for table, name in NOT_SHARED:
        assert name in fields(table) and not fields(table)[name].protected, f"{table}.{name} needs no line in NOT_SHARED"


# The adversary. He has every publication of a book, each with more finds than the one before. He knows the method and the code, and not
# the secret. If another set of sites, anywhere in the same squares, with other names, days and remarks, would have given the very same
# publications, then nothing that he has tells him where in its square any site lies.
N_ROUNDS = 3
STEPS = {"0.01": 0.01, "0.1": 0.1, "1": 1.0}


def invented(seed: int):
    """Sites, visits and finds of a random book; each visit and find has the round in which it comes to the book."""
    draw = np.random.default_rng(seed)
    some_sites = []
    for number in range(draw.integers(1, 5)):
        own = draw.choice([None, "0.01", "0.1", "1", "withheld"], p=[0.4, 0.25, 0.15, 0.1, 0.1])
        place = (draw.uniform(-60, 60), draw.uniform(-179, 179)) if draw.random() < 0.9 else (None, None)
        habitat = draw.choice(["stream", "headwater", "seep"], p=[0.6, 0.3, 0.1])
        some_sites.append(site(f"S{number}", *place, public_precision_deg=own, habitat=habitat))
    visits = []
    for n in range(draw.integers(1, 9)):
        more = {"visit_date": f"2024-{draw.integers(1, 13):02d}-10", "water_temp_c": round(draw.uniform(2, 18), 1)}
        one = visit(f"V{n}", f"S{draw.integers(len(some_sites))}", all_counted=bool(draw.random() < 0.8), **more)
        visits.append((int(draw.integers(N_ROUNDS)), one))
    finds = []
    for n in range(draw.integers(0, 14)):
        arrives, at = visits[draw.integers(len(visits))]
        stage = draw.choice(["adult", "larva", "egg_mass"], p=[0.5, 0.4, 0.1])
        place = draw.choice(["rock_in_flow", "seep_water", "nest_edge"], p=[0.85, 0.1, 0.05])
        one = find(f"F{n}", at["visit_id"], draw.choice(list(CLASSES), p=[0.4, 0.3, 0.2, 0.1]), stage, microhabitat=place)
        finds.append((max(arrives, int(draw.integers(N_ROUNDS))), one))
    return some_sites, visits, finds


def publications(some_sites, visits, finds):
    """All rounds in turn, with the memory of those before: their tables, and what the keeper was told."""
    memory: dict[str, Shown] = {}
    told = []
    for turn in range(N_ROUNDS):
        now = [one for arrives, one in visits if arrives <= turn], [one for arrives, one in finds if arrives <= turn]
        tables, kept = published(rows(some_sites, *now), before=memory)
        memory = kept.shown
        told.append((tables, kept))
    return told


def moved(seed: int, some_sites, visits, finds, steps):
    """The same book elsewhere: each site at another point of its square, everything that is withheld made different."""
    draw = np.random.default_rng(seed + 1)
    others = []
    for one in some_sites:
        latitude, longitude = draw.uniform(-80, 80), draw.uniform(-179, 179)
        if one["latitude"] is None:
            latitude, longitude = None, None
        elif one["site_id"] in steps:
            side = STEPS[steps[one["site_id"]]]
            south, west = (math.floor(one[axis] / side) * side for axis in ("latitude", "longitude"))
            latitude, longitude = south + draw.uniform(0.001, 0.999) * side, west + draw.uniform(0.001, 0.999) * side
        private = {"site_name": f"Other {seed}", "remarks": "below the old mill", "county": "Elsewhere", "population": "other"}
        private |= {"elevation_m": draw.uniform(100, 900), "coordinate_uncertainty_m": draw.uniform(1, 99)}
        others.append({**one, "latitude": latitude, "longitude": longitude, **private})
    days = [(arrives, {**one, "visit_date": one["visit_date"][:8] + "23", "start_time": "05:05"}) for arrives, one in visits]
    spots = [(arrives, {**one, "latitude": draw.uniform(-80, 80), "longitude": draw.uniform(-179, 179)}) for arrives, one in finds]
    return others, days, spots


# In a full run 100 books are published three times: 200 times something is published again.
@pytest.mark.slow
@settings(max_examples=examples(100, 8))
@given(st.integers(0, 2**32))
def test_no_number_of_publications_places_a_site_finer_than_its_square(seed):
    book = invented(seed)
    told = publications(*book)
    steps = steps_of(told[-1][1])
    elsewhere = publications(*moved(seed, *book, steps))
    seen: dict[str, set] = {}
    classes = dict(CLASSES)
    for (tables, kept), (others, _) in zip(told, elsewhere, strict=True):
        for table in tables:
            pd.testing.assert_frame_equal(tables[table], others[table])
        site_of = {one["visit_id"]: one for _, one in book[1]}
        place_of = {one["site_id"]: one for one in book[0]}
        private = dict(zip(kept.codes["public_code"], kept.codes["code"], strict=True))
        for row in tables["visits"].itertuples():
            at = place_of[site_of[private[row.event_id]]["site_id"]]
            half = STEPS[row.grid_step_deg] / 2 + 1e-9
            assert abs(at["latitude"] - row.latitude) <= half and abs(at["longitude"] - row.longitude) <= half
            seen.setdefault(at["site_id"], set()).add((row.grid_step_deg, row.latitude, row.longitude))
        of_visit = tables["visits"].set_index("event_id")["grid_step_deg"]
        for row in tables["finds"].itertuples():
            assert STEPS[of_visit[row.event_id]] >= STEPS[classes[row.taxon]]
            assert row.life_stage != "egg_mass" and row.microhabitat != "nest_edge"
    # all reports of a site put it into one and the same square: there is nothing to intersect
    assert all(len(squares_seen) == 1 for squares_seen in seen.values())
