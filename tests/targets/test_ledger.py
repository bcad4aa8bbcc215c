"""What was published holds: from fewer visits no line is warmer, until a named person takes it. Fields and lines worked by hand."""

from __future__ import annotations

from typing import Any

import pandas as pd
from worked_fields import BOOK, COLD, WARM, derived, field, printed

from pipeline.targets.derive import targets
from pipeline.targets.ledger import (
    CELL,
    KEPT_AIR,
    METHOD_VERSION,
    OPEN_PART,
    air_to_publish,
    air_visits,
    hold_air,
    hold_to_published,
    method_changed,
    to_publish,
    visits_of_cells,
)
from schemas.frames.targets import check_targets

NOBODY = pd.DataFrame(columns=[*CELL, "quantity", "value"])


def ledger_case(first: pd.DataFrame, second: pd.DataFrame, accepted: pd.DataFrame = NOBODY) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Publish from the first readings, then print from the second."""
    words: dict[str, Any] = {"replicates": 200}
    published = to_publish(targets(first, BOOK.taxa, BOOK, **words), visits_of_cells(first, BOOK.taxa, BOOK))
    rows, notes = hold_to_published(
        targets(second, BOOK.taxa, BOOK, **words), visits_of_cells(second, BOOK.taxa, BOOK), published, accepted
    )
    return rows.set_index("month"), notes


def test_fewer_visits_keep_the_lower_values() -> None:
    # Six sites read 8, 10, 14 and six 8, 10, 18. All: P75 14, so band top 14, act line 16; ceiling: the second-warmest day, 18. Without the
    # cool sites P75 is 18, the bound 17.5: top 17, act line 18, ceiling 19 (B).
    cool, warm = (
        field(WARM, [8.0, 10.0, 14.0], sites=6),
        field(WARM, [8.0, 10.0, 18.0], sites=6).assign(site=lambda rows: "w" + rows["site"]),
    )
    both = pd.concat([cool, warm], ignore_index=True)
    assert printed(derived(both).loc["warm"]) == (8.0, 10.0, 14.0, 16.0, 18.0)
    assert printed(derived(warm).loc["warm"]) == (8.0, 10.0, 17.0, 18.0, 19.0)
    rows, notes = ledger_case(both, warm)
    assert printed(rows.loc["warm"]) == (8.0, 10.0, 14.0, 16.0, 18.0)
    assert rows.loc["warm", "reason"] == ("kept as published from the same visits or more: ceiling 18 °C, band high 14 °C, act line 16 °C")
    warm_notes = notes[notes["month"] == "warm"].set_index("quantity")
    assert warm_notes[["derived", "kept"]].to_dict("index") == {
        "band_high": {"derived": 17.0, "kept": 14.0},
        "act_line": {"derived": 18.0, "kept": 16.0},
    }


def edited(rows: pd.DataFrame, month: str, **values: float) -> pd.DataFrame:
    """Published entries with some values changed."""
    visits = visits_of_cells(rows, BOOK.taxa, BOOK)
    cell = ("COOL", "", "larva", "water", month)
    entries = [(*cell, name, value, visits[cell], METHOD_VERSION) for name, value in values.items()]
    return pd.DataFrame(entries, columns=[*CELL, "quantity", "value", "visits", "method"])


def hold(frame: pd.DataFrame, published: pd.DataFrame, accepted: pd.DataFrame = NOBODY) -> pd.DataFrame:
    rows, _ = hold_to_published(
        targets(frame, BOOK.taxa, BOOK, replicates=200), visits_of_cells(frame, BOOK.taxa, BOOK), published, accepted
    )
    return check_targets(rows).set_index("month")


def test_ledger_by_hand() -> None:
    frame = pd.concat([field(WARM, [8.2, 10.3, 16.0]), field(COLD, [4.0, 6.0, 8.0])], ignore_index=True)
    raw = derived(frame)
    assert printed(raw.loc["warm"]) == (8.5, 10.0, 15.5, 16.5, 17.5) and raw.loc["warm", "floor"] == 4.0
    # An equal set is a subset: a ceiling of 13 once published stays, and brings band and act line under it.
    held = hold(frame, edited(frame, "ceiling", ceiling=13.0))
    assert printed(held.loc["warm"]) == (8.5, 10.0, 12.0, 12.5, 13.0) and held.loc["warm", "cut_by_ceiling"]
    assert held.loc["warm", "reason"] == "kept as published from the same visits or more: ceiling 13 °C"
    assert printed(held.loc["1"])[:4] == printed(raw.loc["1"])[:4]
    # Month values are held one by one, and the lines stay in order.
    july = hold(frame, edited(frame, "7", set_point=9.0, act_line=12.0)).loc["7"]
    assert printed(july) == (9.0, 9.0, 12.0, 12.0, 17.5)
    # A floor never falls; a higher one raises the least set point.
    assert hold(frame, edited(frame, "floor", floor=5.0)).loc["1", ["floor", "set_point_low"]].tolist() == [5.0, 6.0]
    assert hold(frame, edited(frame, "floor", floor=3.0)).loc["1", "floor"] == 4.0
    # Of several earlier floors the highest holds.
    floors = pd.concat([edited(frame, "floor", floor=5.0), edited(frame, "floor", floor=4.5)], ignore_index=True)
    assert hold(frame, floors).loc["1", "floor"] == 5.0
    # A floor that new winter visits would raise past a set point that is held gives way: nothing gets warmer.
    both = hold(frame, pd.concat([edited(frame, "1", set_point=4.0), edited(frame, "floor", floor=2.0)], ignore_index=True))
    assert both.loc["1", ["floor", "set_point"]].tolist() == [3.0, 4.0]
    # A ceiling far under the median is still no reason to print nothing.
    low = hold(frame, edited(frame, "ceiling", ceiling=9.0)).loc["7"]
    assert (low["status"], low["set_point"], low["band_high"], low["act_line"]) == ("target", 8.0, 8.0, 8.5)
    # A warmer published value, or another cell's, changes nothing.
    assert hold(frame, edited(frame, "ceiling", ceiling=19.0)).equals(raw)


def test_lines_of_an_earlier_method_hold_nothing_and_it_is_said_once() -> None:
    frame = field(WARM, [8.2, 10.3, 16.0])
    old = edited(frame, "ceiling", ceiling=13.0).assign(method=None)
    assert hold(frame, old).loc["warm", "ceiling"] == 17.5
    assert method_changed(old)
    new = edited(frame, "ceiling", ceiling=17.5)
    assert not method_changed(pd.concat([old, new])) and not method_changed(new) and not method_changed(new.iloc[:0])


def test_new_visits_and_named_persons_free_a_value() -> None:
    old = field(WARM, [8.2, 10.3, 16.0], sites=11)
    new = field(WARM, [8.2, 10.3, 16.0], sites=12)
    published = edited(old, "ceiling", ceiling=13.0)
    assert hold(new, published).loc["warm", "ceiling"] == 17.5, "one more site: not a subset"
    assert hold(old, published).loc["warm", "ceiling"] == 13.0
    accepted = edited(old, "ceiling", ceiling=14.0).drop(columns=["visits", "method"])
    assert hold(old, published, accepted).loc["warm", "ceiling"] == 14.0, "accepted up to 14 and no further"
    # The lowest of several earlier values holds.
    assert hold(old, pd.concat([published, edited(new, "ceiling", ceiling=12.0)])).loc["warm", "ceiling"] == 12.0


def test_sets_of_visits_by_cell() -> None:
    frame = pd.concat([field(WARM, [10.0], sites=1, dates=1), field([1], [4.0], sites=1, dates=2)], ignore_index=True)
    sets = visits_of_cells(frame, BOOK.taxa, BOOK)
    cell = ("COOL", "", "larva", "water")
    assert sets[(*cell, "6")] == {"s00 2018-06-01"} and len(sets[(*cell, "warm")]) == len(sets[(*cell, "ceiling")]) == 4
    assert len(sets[(*cell, "floor")]) == len(sets[(*cell, "cold")]) == 2 and sets[(*cell, "5")] == frozenset()
    nest = frame.assign(life_stage="egg_mass", at_nest=True)
    assert len(visits_of_cells(nest, BOOK.taxa, BOOK)["COOL", "", "egg_mass", "water", "ceiling"]) == 6


AIR = {"taxon": "COOL", "population": "", "life_stage": "adult", "status": "target", "deficit": 0.3, "rh_p25": 80.0, "reason": ""}
AIR_CELL = ("COOL", "", "adult", OPEN_PART, OPEN_PART)


def air_case(days: list[str], **published: float) -> tuple[pd.Series, pd.DataFrame]:
    """The target of `AIR` from the nights `days`, after other figures were published from the first two nights of July."""
    nights = pd.DataFrame(
        {"taxon": "COOL", "population": "", "life_stage": "adult", "site": "a", "date": pd.to_datetime(days), "reason": ""}
    )
    known = air_to_publish(pd.DataFrame([{**AIR, **published}]), {AIR_CELL: frozenset({"a 2021-07-01", "a 2021-07-02"})})
    held, notes = hold_air(pd.DataFrame([AIR]), air_visits(nights), known, NOBODY)
    return held.iloc[0], notes


def test_fewer_nights_print_nothing_drier() -> None:
    held, notes = air_case(["2021-07-01"], deficit=0.2, rh_p25=85.0)
    assert (held["deficit"], held["rh_p25"], held["reason"]) == (0.2, 85.0, f"{KEPT_AIR}; {KEPT_AIR}")
    assert notes[["quantity", "derived", "kept"]].to_numpy().tolist() == [["deficit", 0.3, 0.2], ["rh_p25", 80.0, 85.0]]


def test_another_night_frees_the_air_and_a_drier_publication_holds_nothing() -> None:
    cases: list[tuple[list[str], dict[str, float]]] = [
        (["2021-07-01", "2021-08-01"], {"deficit": 0.2}),
        (["2021-07-01"], {"deficit": 0.35, "rh_p25": 70.0}),
    ]
    for days, published in cases:
        held, notes = air_case(days, **published)
        assert (held["deficit"], held["rh_p25"], held["reason"]) == (0.3, 80.0, "") and notes.empty


def test_nights_that_feed_no_target_are_not_behind_it() -> None:
    damp = pd.DataFrame({
        "taxon": "COOL", "population": "", "life_stage": "adult", "site": ["a", "b"], "date": pd.to_datetime(["2021-07-01", "2021-07-02"]),
        "reason": ["", "on the surface by day"],
    })  # fmt: skip
    assert air_visits(damp) == {AIR_CELL: frozenset({"a 2021-07-01"})} and air_visits(damp.iloc[:0]) == {}
