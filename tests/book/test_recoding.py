"""Taxa of stored rows after a change of rillbook.toml: what was published binds under a new code, and what was held back stays silent."""

from __future__ import annotations

from pathlib import Path

import pytest
from small_sheets import CASES, load, sheets

from pipeline.book.connection import open_book
from pipeline.book.recoding import _again
from pipeline.commands import run
from pipeline.intake.settings_changed import settled

TOML = (CASES / "base" / "rillbook.toml").read_text()
RENAMED = (('code = "GPOR"', 'code = "GYPO"'), ('"spring sal"', '"spring sal", "gpor"'))
VISITS = (
    "visit_id,site_id,visit_date,start_time,protocol,search_minutes,water_temp_c,target_taxa,all_counted\n"
    "V1,S1,2023-06-10,20:00,visual_encounter,60,12.5,GPOR|ETEN,true\nV2,S1,2023-06-24,20:00,visual_encounter,60,13,GPOR|ETEN,true\n"
)
FINDS = (
    "find_id,visit_id,taxon,life_stage,count,microhabitat,water_temp_c\n"
    "F1,V1,GPOR,adult,1,rock_in_flow,12.6\nF2,V2,Spring sal,larva,1,nowhere,12.4\n"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", TOML)
    load(tmp_path / "b", sheets(tmp_path / "b", sites="site_id,habitat\nS1,stream\n", visits=VISITS, finds=FINDS))
    return tmp_path / "b"


def change(folder: Path, *changes: tuple[str, str]) -> None:
    text = TOML
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "rillbook.toml").write_text(text)
    settled(folder)


def asked(folder: Path, sql: str) -> list[tuple[object, ...]]:
    with open_book(folder) as connection:
        return connection.execute(sql).fetchall()


def test_what_was_published_binds_under_the_new_code_and_under_the_old_one_again(folder: Path) -> None:
    with open_book(folder, write=True) as connection:
        connection.execute(
            "INSERT INTO published VALUES (now()::TIMESTAMP, 'GPOR', 'p', 'larva', 'water', '6', 'p95', 12.5, ['S1 2023-06-10'], '1'),"
            " (now()::TIMESTAMP, 'ETEN', 'p', 'larva', 'water', '6', 'p95', 13.5, ['S1 2023-06-10'], '1')"
        )
    change(folder, *RENAMED)
    change(folder, *RENAMED, ("= 58", "= 57"))
    assert asked(folder, "SELECT taxon, value FROM published ORDER BY ALL") == [("ETEN", 13.5), ("GPOR", 12.5), ("GYPO", 12.5)]
    assert asked(folder, "SELECT visit_id, said_target_taxa FROM visits ORDER BY ALL") == [("V1", "GYPO|ETEN"), ("V2", "GYPO|ETEN")]
    change(folder)
    assert asked(folder, "SELECT taxon, verbatim_taxon FROM finds") == [("GPOR", "GPOR")]


def test_a_row_that_was_held_back_silences_the_owner_of_its_spelling_or_all_taxa(folder: Path) -> None:
    """F2 is held back for its microhabitat: of the taxon that it names V2 states no absence, whatever the taxon is called."""
    absent = "SELECT visit_id, taxon FROM absences ORDER BY ALL"
    assert asked(folder, absent) == [("V1", "ETEN"), ("V2", "ETEN")]
    change(folder, *RENAMED)
    assert asked(folder, absent) == [("V1", "ETEN"), ("V2", "ETEN")]
    # the name that was written belongs to another taxon now: an absence of that one would be false
    change(folder, (', "spring sal"', ""), ("paedomorphic = true", 'paedomorphic = true\naliases = ["spring sal"]'))
    assert asked(folder, absent) == [("V1", "ETEN")]


def test_a_text_that_a_column_map_read_is_no_spelling_of_the_book() -> None:
    """The map says which taxon its words mean; an alias of the same letters, added later, says nothing of them."""
    was = {"gpor": "GPOR", "gypo": "GPOR", "eten": "ETEN"}
    now = {"gpor": "GPOR", "gypo": "ETEN", "eten": "ETEN", "big one": "ETEN"}
    assert _again("GPOR", "big one", was, now) == "GPOR" and _again("GPOR", None, was, now) == "GPOR"
    assert _again("GPOR", " Gypo ", was, now) == "ETEN"
    assert _again("GPOR|ETEN", "gypo|eten", was, now) == "ETEN" and _again("ETEN|ETEN", "x", was, now) == "ETEN|ETEN"
    assert _again("GPOR|ETEN", None, was, {"gpor": "GPOR"}) is None
