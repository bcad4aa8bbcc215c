"""Traits of codes: all filled in, and a new code of any list goes through load, targets, care pages, map and publication."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from schemas.vocabulary import TRAITS, codes, codes_with, codes_without, has_trait, in_words, trait, vocabulary

YES_NO = [(name, which) for name, traits in TRAITS.items() for which, (default, _) in traits.items() if default in ("yes", "no")]


@pytest.mark.parametrize("name", list(TRAITS))
def test_every_trait_is_a_column_and_every_column_is_a_trait(name: str) -> None:
    for code, entry in vocabulary(name).items():
        assert set(entry) == {"definition", "source", *TRAITS[name]}, code


@pytest.mark.parametrize(("name", "which"), YES_NO)
def test_yes_and_no_are_written_out(name: str, which: str) -> None:
    assert {entry[which] for entry in vocabulary(name).values()} == {"yes", "no"}
    assert {*codes_with(name, which), *codes_without(name, which)} == set(codes(name))


def test_a_code_that_is_not_listed_gives_no_place_away_and_lends_nothing() -> None:
    assert has_trait("habitat", "sinkhole", "secret") and has_trait("microhabitat", "sinkhole", "nest")
    assert not has_trait("life_stage", "yearling", "lends") and trait("life_stage", "yearling", "letter_y") == "17"
    assert trait("microhabitat", "sinkhole", "medium") == "" and in_words("egg_mass") == "Egg mass"


# Facts of the trade, held apart from the files: common practice, no source.
def test_what_the_method_says_of_codes() -> None:
    assert codes_with("taxon_group", "constant_temperature") == codes_with("taxon_group", "secret") == ("warm_spring", "cave")
    assert codes_with("habitat", "secret") == ("spring", "seep", "cave")
    assert codes_with("microhabitat", "secret") == ("seep_water", "seep_edge", "cave_wall")
    assert codes_with("microhabitat", "nest") == ("nest_water", "nest_edge")
    assert codes_with("life_stage", "at_nest") == ("egg_mass",) and codes_without("life_stage", "told") == ("undetermined",)
    assert codes_without("life_stage", "lends") == ("egg_mass", "hatchling", "undetermined")
    assert codes_with("id_certainty", "doubtful") == ("genus_only", "unsure") and codes_with("condition", "well") == ("well",)


def test_symbols_differ_in_more_than_colour() -> None:
    drawn = vocabulary("life_stage").values()
    for which in ("letter", "colour", "outline"):
        assert len({entry[which] for entry in drawn}) == len(drawn), which


PATH = """
import json, sys
from pathlib import Path
from pipeline.commands import run
import schemas

folder = Path(sys.argv[1])
report = run.load_files(folder, [folder / f"{name}.csv" for name in ("sites", "visits", "finds")])
derived = run.derive_targets(folder)
pages = [*run.write_care_sheets(folder, derived), *run.write_cards(folder, derived)]
maps = run.write_maps(folder)
published = run.publish(folder)
rows = derived.targets
own = rows[rows["life_stage"].eq("yearling")]
print(json.dumps({
    "schemas": schemas.__file__, "held": len(report.held), "n": int(own["n_readings"].sum()), "status": sorted(set(own["status"])),
    "by": " ".join(set(own["ceiling_bound_by"])), "floor": float(own["floor"].max()),
    "medium": sorted(set(own["medium"])), "pages": [str(page) for page in pages],
    "maps": [str(page) for page in maps], "published": [str(page) for page in published.files],
}))
"""
SETTINGS = """
[book]
title = "Invented study of one seep"
invented = true
time_zone = "America/New_York"
public_precision_deg = "0.01"
licence = "CC0-1.0"
author = "the rillbook authors"
warm_months = [6, 7, 8, 9]
cold_months = [12, 1, 2, 3]
seed = 1

[[taxon]]
code = "GPOR"
scientific_name = "Gyrinophilus porphyriticus"
rank = "species"
group = "deep_well"
sensitivity = "0.01"
"""


@pytest.mark.slow
def test_a_new_stage_group_and_microhabitat_pass_all_steps(root: Path, tmp_path: Path) -> None:
    shutil.copytree(root / "schemas", tmp_path / "schemas", ignore=shutil.ignore_patterns("__pycache__"))
    lists = tmp_path / "schemas" / "vocabularies"
    added = {
        "life_stage": {"code": "yearling", "definition": "Young of the second year"},
        "taxon_group": {"code": "deep_well", "definition": "Lives in wells", "constant_temperature": "yes"},
        "microhabitat": {"code": "under_tile", "definition": "Under a tile in the flow", "medium": "water", "nest": "no", "secret": "no"},
    }
    for name, entry in added.items():
        frame = pd.read_csv(lists / f"{name}.csv", dtype="str", keep_default_na=False)
        pd.concat([frame, pd.DataFrame([{**entry, "source": "invented"}])]).to_csv(lists / f"{name}.csv", index=False)
    book = tmp_path / "book"
    book.mkdir()
    (book / "rillbook.toml").write_text(SETTINGS, encoding="utf-8")
    sites = [f"S{number},stream,36.2{number},-81.8{number},WGS84,30" for number in range(4)]
    lines = ["site_id,habitat,latitude,longitude,datum,coordinate_uncertainty_m", *sites]
    (book / "sites.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    days = [(year, month, day, site) for year in (2022, 2023) for month in (6, 7, 8) for day in (3, 17) for site in range(4)]
    visits, finds = ["visit_id,site_id,visit_date,start_time,search_minutes,protocol,target_taxa,all_counted"], []
    for number, (year, month, day, site) in enumerate(days):
        visits.append(f"V{number},S{site},{year}-{month:02d}-{day:02d},09:00,30,visual_encounter,GPOR,yes")
        finds.append(f"F{number},V{number},09:10,GPOR,certain,yearling,1,under_tile,at_animal,{9 + number % 11 / 2:.1f}")
    (book / "visits.csv").write_text("\n".join(visits) + "\n", encoding="utf-8")
    heading = "find_id,visit_id,found_at,taxon,id_certainty,life_stage,count,microhabitat,reading_place,water_temp_c"
    (book / "finds.csv").write_text("\n".join([heading, *finds]) + "\n", encoding="utf-8")
    (tmp_path / "steps.py").write_text(PATH, encoding="utf-8")
    command = [sys.executable, str(tmp_path / "steps.py"), str(book)]
    ran = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": str(tmp_path)})
    assert ran.returncode == 0, ran.stderr
    told = json.loads(ran.stdout.splitlines()[-1])
    assert Path(told["schemas"]).is_relative_to(tmp_path)
    assert told["held"] == 0 and told["n"] > 0 and told["medium"] == ["water"] and "target" in told["status"]
    assert told["floor"] >= 1, "where temperature is constant the floor rests on all months, and not on a winter that nobody saw"
    assert "cap of the group" not in told["by"]
    assert "borrowed" not in told["status"]
    assert [Path(page).stem.partition("_GPOR")[0] for page in told["pages"]] == ["care_sheet", "card"]
    assert all("Yearling" in Path(page).read_text(encoding="utf-8") for page in told["pages"])
    public = next(Path(path) for path in told["maps"] if path.endswith("map.html")).read_text(encoding="utf-8")
    assert "Yearling" in public and "Under a tile in the flow" in public
    shown = next(Path(path) for path in told["published"] if path.endswith(".geojson")).read_text(encoding="utf-8")
    squares = {feature["properties"]["grid_step_deg"] for feature in json.loads(shown)["features"]}
    assert squares == {"1"}, "a group without the trait is secret"
