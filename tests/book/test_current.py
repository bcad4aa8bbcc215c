"""The rows of the current version."""

from __future__ import annotations

from pathlib import Path

from small_sheets import FINDS, SITES, VISITS, answer, load, now, sheets

from pipeline.book.connection import open_book
from pipeline.book.current import hold_visits, known_rows
from pipeline.commands import run


def test_a_visit_whose_finds_are_all_held_is_incomplete(folder: Path) -> None:
    finds = FINDS.replace("GPOR", "NOPE") + "F3,V2,GPOR,adult,1,rock_in_flow,13,stray\n"
    load(folder, sheets(folder, sites=SITES, visits=VISITS + "V3,S1,2023-07-10,20:00,visual_encounter,60,13\n", finds=finds))
    assert now(folder, "visits").set_index("visit_id")["incomplete"].to_dict() == {"V1": True, "V2": True, "V3": False}
    assert run.status(folder)["visits_without_finds"] == 1 and run.status(folder)["visits_incomplete"] == 2
    load(folder, [answer(folder, {"F1": {"corrected": "GPOR"}})])
    assert now(folder, "visits").set_index("visit_id")["incomplete"].to_dict() == {"V1": False, "V2": True, "V3": False}


def test_wanted_fields_and_visits_that_are_held_are_those_of_the_whole_rows(folder: Path) -> None:
    load(folder, sheets(folder, sites=SITES, visits=VISITS, finds=FINDS.replace("GPOR", "NOPE")))
    wanted = {"visits": ("visit_id", "target_taxa"), "finds": ("taxon", "count")}
    with open_book(folder) as connection:
        whole = known_rows(connection)
        hold_visits(connection)
        held, few = known_rows(connection), known_rows(connection, wanted=wanted)
    assert len(whole["visits"]) and all(held[table].equals(rows) for table, rows in whole.items())
    assert few["visits"].equals(whole["visits"][["visit_id", "target_taxa", "incomplete"]])
    assert few["finds"].equals(whole["finds"][["taxon", "count"]]) and few["sites"].equals(whole["sites"])
