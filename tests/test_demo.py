"""The whole path on the invented study: every planted fault meets its effect, nothing else is held, and published values never warm."""

from __future__ import annotations

import json
from pathlib import Path

import frictionless
import pandas as pd
import pytest

from pipeline.book.connection import open_book
from pipeline.commands import demo_study as demo
from pipeline.commands import run
from pipeline.errors import RillbookError
from schemas.enums import EFFECTS
from schemas.generate import WRITTEN


def test_the_files_are_where_the_readme_says(demo_run: tuple[Path, run.Demo]) -> None:
    folder, result = demo_run
    for name in ("rillbook.duckdb", "rillbook.toml", "out/targets.csv", "out/targets.json", "out/map.html", "out/private/map_exact.html"):
        assert (folder / name).stat().st_size > 0
    assert sorted(path.name for path in folder.glob("out/care_sheet_*.html")) == [
        f"care_sheet_{code}.html" for code in ("DMON", "EWIL", "GPOR")
    ]
    assert {path.relative_to(folder).parts[0] for path in result.files} == {"out"}


# Tables of one permit or parcel have its code in their name.
OF_ONE = {"permit": "INVENTED-1", "landowner": "A"}


# Source of what counts as valid: the frictionless library, from the authors of the Table Schema standard.
@pytest.mark.parametrize("name", list(WRITTEN))
def test_a_written_table_is_as_its_table_schema_says(demo_run: tuple[Path, run.Demo], root: Path, name: str) -> None:
    kind, _, table = name.partition("_")
    file = f"{name}.csv" if kind not in OF_ONE else f"{kind}_{OF_ONE[kind]}{table and f'_{table}'}.csv"
    schema = frictionless.Schema.from_descriptor(json.loads((root / f"schemas/table_schema/out/{name}.json").read_text(encoding="utf-8")))
    folder = next(folder for folder in (demo_run[0] / "out", demo_run[0] / "out" / "private") if (folder / file).exists())
    written = frictionless.Resource(path=file, basepath=str(folder), schema=schema).validate()
    assert written.stats["errors"] == 0, written.flatten(["message"])


def test_every_planted_fault_meets_its_effect_and_nothing_else_is_met(demo_run: tuple[Path, run.Demo]) -> None:
    result = demo_run[1]
    assert result.as_planned
    assert (result.faults["expected"] == result.faults["met"]).all()
    assert set(result.faults["expected"]) == set(EFFECTS)
    planted = demo.planted_faults().drop_duplicates(["table", "row_key", "rule"])
    assert len(result.faults) == len(planted) >= 40
    held = planted[planted["effect"].str.startswith("hold")]
    assert set(zip(result.report.held["table"], result.report.held["row_key"], strict=True)) == set(
        zip(held["table"], held["row_key"], strict=True)
    )


@pytest.mark.parametrize("change", ["another effect", "one more", "one less"])
def test_a_plan_that_is_not_met_is_seen(change: str, demo_run: tuple[Path, run.Demo], monkeypatch: pytest.MonkeyPatch) -> None:
    planted = demo.planted_faults()
    if change == "another effect":
        planted.loc[0, "effect"] = "flag"
    elif change == "one more":
        planted = pd.concat([planted, planted.iloc[[0]].assign(row_key="no such row")], ignore_index=True)
    else:
        planted = planted[planted["row_key"] != planted["row_key"].iloc[0]]
    monkeypatch.setattr(demo, "planted_faults", lambda: planted)
    result = demo_run[1]
    faults = demo.compare(result.report.held, result.report.flags)
    assert not run.Demo(result.report, faults, result.derived, result.files).as_planned


def test_it_does_not_run_over_a_book(demo_run: tuple[Path, run.Demo]) -> None:
    with pytest.raises(RillbookError, match="holds a book already"):
        run.run_demo(demo_run[0])


def test_the_same_records_print_the_same_values(demo_run: tuple[Path, run.Demo], demo_copy: Path) -> None:
    before = (demo_copy / "out" / "targets.csv").read_bytes()
    again = run.derive_targets(demo_copy)
    assert again.kept.empty
    assert (demo_copy / "out" / "targets.csv").read_bytes() == before
    with open_book(demo_copy) as connection:
        twice = connection.execute(
            "SELECT count(*) - count(DISTINCT (taxon, population, life_stage, medium, month, quantity, value)) FROM published"
        )
        assert twice.fetchall() == [(0,)]


VALUES = ["set_point", "band_high", "act_line", "ceiling"]
CELL = ["taxon", "population", "life_stage", "medium", "month"]


def test_from_fewer_visits_nothing_warmer_is_printed_until_someone_accepts_it(demo_copy: Path) -> None:
    """A load of cold visits is published, then undone: what is left is a part of the visits, and would be warmer."""
    cold = [f"C{number}" for number in range(40)]
    days = pd.date_range("2025-07-01", periods=40, freq="D").strftime("%Y-%m-%d")
    visits = pd.DataFrame(
        {"visit_id": cold, "site_id": [f"N0{1 + number % 8}" for number in range(40)], "visit_date": days, "protocol": "visual_encounter"}
    )
    finds = pd.DataFrame({
        "find_id": [f"{one}-1" for one in cold], "visit_id": cold, "taxon": "DMON", "life_stage": "larva", "count": 1,
        "microhabitat": "gravel_gaps", "water_temp_c": [f"{5 + number % 7 / 10:.1f}" for number in range(40)],
    })  # fmt: skip
    paths = [demo_copy / "cold_visits.csv", demo_copy / "cold_finds.csv"]
    for frame, path in zip((visits, finds), paths, strict=True):
        frame.to_csv(path, index=False)
    report = run.load_files(demo_copy, paths)
    assert report.held.empty
    with_cold = run.derive_targets(demo_copy).targets.set_index(CELL)
    run.undo(demo_copy, int(report.load_id or 0))
    held = run.derive_targets(demo_copy)
    after = held.targets.set_index(CELL)
    assert len(held.kept) and set(held.kept["taxon"]) == {"DMON"}
    both = after[VALUES].notna() & with_cold[VALUES].notna()
    assert both.to_numpy().any()
    assert not (after[VALUES].where(both) > with_cold[VALUES].where(both)).to_numpy().any()
    with pytest.raises(RillbookError, match=r"by a named person with a reason. Add --by NAME and --reason TEXT"):
        run.derive_targets(demo_copy, accept="DMON")
    with pytest.raises(RillbookError, match="not among the book's taxa"):
        run.derive_targets(demo_copy, accept="XXXX", by="AB", reason="why")
    accepted = run.derive_targets(demo_copy, accept="DMON", by="AB", reason="the cold load was another stream")
    assert accepted.kept.empty
    warmer = accepted.targets.set_index(CELL)
    assert (warmer[VALUES] > after[VALUES]).to_numpy().any()
    assert run.derive_targets(demo_copy).targets.set_index(CELL)[VALUES].equals(warmer[VALUES])
    with open_book(demo_copy) as connection:
        signed = connection.execute("SELECT DISTINCT taxon, who, reason FROM accepted_warmer").fetchall()
    assert signed == [("DMON", "AB", "the cold load was another stream")]
