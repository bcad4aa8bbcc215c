"""Loggers beside hand readings: what they change in the targets, and what the care sheet then shows (method §5, §6, §10)."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from datetime import date
from pathlib import Path

import duckdb
import pandas as pd
import pytest
import sheet_reader

from pipeline.book.connection import open_book
from pipeline.commands import run
from pipeline.commands.derive import Derived
from pipeline.errors import RillbookError
from pipeline.settings.limits import judgement
from pipeline.summaries.read import digest

TODAY = date(2024, 1, 1)
SETTINGS = """[book]
title = "a test"
time_zone = "America/New_York"

[[taxon]]
code = "AAA"
scientific_name = "Aus bus"
group = "cool_stream"
"""
MAP = ["[logger]", 'name = "{file}"', "name_from_file = '^(?P<file>.+)[.]csv$'"]
SITES = ("S1", "S2", "S3", "S4")
DAYS = [f"2022-0{month}-{day:02}" for month in (6, 7, 8, 9) for day in (3, 10, 17, 24)]
SWING = 0.6
CELL = ("AAA", "", "larva", "water")


def noon(day: int, site: int) -> float:
    """A summer whose June and September are far cooler than its middle, so that they can have a target."""
    middle = {6: 11, 7: 16, 8: 16, 9: 12}[int(DAYS[day][5:7])]
    return round(middle + site * 0.3 + math.sin(day) * 0.8, 1)


def write(folder: Path, name: str, lines: list[str]) -> Path:
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def export(folder: Path, logger: str, site: int, hot_hours: int = 0) -> Path:
    """A summer of hourly readings on UTC that swing by `SWING` around 14 °C with their peak at 16:00 (20:00 UTC in summer)."""
    times = pd.date_range("2022-06-01 04:00", "2022-10-01 03:00", freq="h")
    lines = ['"Date Time, GMT+00:00","Temp, °C"']
    for place, at in enumerate(times):
        value = 14 + site * 0.3 + SWING * math.cos(2 * math.pi * (at.hour - 20) / 24)
        lines.append(f"{at:%Y-%m-%d %H:%M},{value + (20 if place < hot_hours else 0):.3f}")
    return write(folder, f"{logger}.csv", lines)


@pytest.fixture
def study(tmp_path: Path) -> Callable[..., Path]:
    """A book of one summer of larvae in water at four sites, read at 14:00; with loggers at some of them if asked."""

    def make(name: str = "book", loggers: tuple[str, ...] = (), hot_hours: int = 0) -> Path:
        here = tmp_path / name
        run.init(here, SETTINGS)
        visits, finds = [], []
        for place, site in enumerate(SITES):
            for number, day in enumerate(DAYS):
                key = f"{site}-{day}"
                visits.append(f"{key},{site},{day},14:00,14:40,visual_encounter,40,0.5")
                finds.append(f"{key}-1,{key},14:00,AAA,larva,1,pool_bed,{noon(number, place)}")
        sheets = [
            write(here, "sites.csv", ["site_id,habitat,latitude,longitude,datum", *(f"{site},stream,36.1,-82.1,WGS84" for site in SITES)]),
            write(
                here,
                "visits.csv",
                ["visit_id,site_id,visit_date,start_time,end_time,protocol,search_minutes,thermometer_accuracy_c", *visits],
            ),
            write(here, "finds.csv", ["find_id,visit_id,found_at,taxon,life_stage,count,microhabitat,water_temp_c", *finds]),
        ]
        report = run.load_files(here, sheets, today=TODAY)
        assert report.exit_code == 0, report.held
        add_loggers(here, loggers, hot_hours)
        return here

    return make


def add_loggers(here: Path, sites: tuple[str, ...], hot_hours: int = 0) -> None:
    if not sites:
        return
    known = write(here, "loggers.csv", ["logger_id,site_id,medium", *(f"log{site},{site},water" for site in sites)])
    assert run.load_files(here, [known], today=TODAY).exit_code == 0
    files = [export(here, f"log{site}", SITES.index(site), hot_hours) for site in sites]
    run.load_files(here, files, write(here, "map.toml", MAP), today=TODAY)


def page(here: Path, derived: Derived) -> sheet_reader.Section:
    (path,) = run.write_care_sheets(here, derived)
    every = sheet_reader.sections(path.read_text(encoding="utf-8"))
    one = next(section for section in every if "cell" in section.classes)
    # What a veterinarian will ask stands once for all stages, in a section of its own.
    one.text = " ".join(section.text for section in every)
    return one


def shifts(derived: Derived) -> pd.Series:
    return derived.targets.set_index("month").loc[["6", "7", "8", "9"], "day_shift"]


def test_a_logger_at_every_site_takes_the_place_of_the_default_half_range(study: Callable[..., Path]) -> None:
    without, with_loggers = (run.derive_targets(study(name, sites)) for name, sites in (("a", ()), ("b", SITES)))
    share = math.cos(2 * math.pi * (14 - judgement("daytime_peak_hour")) / 24)
    assert shifts(without).to_numpy() == pytest.approx(judgement("daytime_half_range") * share)
    assert shifts(with_loggers).to_numpy() == pytest.approx(SWING * share, abs=0.01)
    for one in (without, with_loggers):
        assert one.targets["allowance"].max() == pytest.approx(sum(one.facts["allowances"][CELL].values()))


def test_one_site_without_a_logger_keeps_the_default(study: Callable[..., Path]) -> None:
    share = math.cos(2 * math.pi * (14 - judgement("daytime_peak_hour")) / 24)
    assert shifts(run.derive_targets(study("a", SITES[:3]))).to_numpy() == pytest.approx(judgement("daytime_half_range") * share)


def test_loggers_that_come_later_warm_no_published_ceiling(study: Callable[..., Path]) -> None:
    here = study("a")
    first = run.derive_targets(here).targets["ceiling"].min()
    add_loggers(here, SITES)
    again = run.derive_targets(here)
    assert again.targets["ceiling"].min() == first


def test_the_page_shows_night_drop_corrected_readings_and_what_loggers_say(study: Callable[..., Path]) -> None:
    here = study("a", SITES)
    derived = run.derive_targets(here)
    text = page(here, derived).text
    drop = derived.facts["night_drop"]
    assert set(drop["month"]) == {6, 7, 8, 9} and (drop["night_drop"] > 0).all()
    assert f"June {drop.loc[drop['month'] == 6, 'night_drop'].median():.1f} °C" in text and "No logger" not in text
    assert "Median corrected to the day’s mean" in text
    corrected = derived.facts["corrected"].dropna(subset=["corrected"])
    assert len(corrected) == len(SITES) * len(DAYS)
    # The logger's own cosine: at 14:00 it stands SWING · cos(2π · 2/24) over its mean.
    assert (corrected["value"] - corrected["corrected"]).mean() == pytest.approx(SWING * math.cos(math.pi / 6), abs=0.02)
    assert "highest 15.5 °C" in text and "longest time above 18.0 °C" in text and "0.0 h" in text


def test_readings_that_were_reduced_elsewhere_say_what_the_books_own_say(study: Callable[..., Path], tmp_path: Path) -> None:
    """The same readings, in a book and as tables beside a book that has the loggers and no reading of them."""
    own, bare, folder = study("own", SITES), study("bare"), tmp_path / "reduced"
    run.write_summaries(own, folder)
    run.load_files(bare, [own / "loggers.csv"], today=TODAY)
    wanted, found = run.derive_targets(own), run.derive_targets(bare, reduced=folder)
    for name in ("night_drop", "logger_record"):
        pd.testing.assert_frame_equal(found.facts[name], wanted.facts[name])
    pd.testing.assert_frame_equal(found.targets, wanted.targets)
    assert shifts(found).max() < judgement("daytime_half_range") / 2
    # the readings themselves are not there: nothing beside the day's mean is made up
    assert found.facts["corrected"]["corrected"].isna().all()
    (note,) = found.facts["logger_notes"]
    assert note.startswith(f"Readings of {len(SITES)} loggers are taken from {folder};")
    traced = json.loads((bare / "out" / "private" / "targets_inputs.json").read_text())
    assert digest(folder) in traced["inputs"]


def test_a_logger_in_both_is_taken_from_the_tables_and_others_stay(study: Callable[..., Path], tmp_path: Path) -> None:
    here, folder = study("a", SITES), tmp_path / "reduced"
    rows = "SELECT ['logS1', 'tank 4'][1 + i % 2] AS logger_id, TIMESTAMP '2021-07-01' + to_minutes(15 * (i // 2)::INT) AS read_at"
    (tmp_path / "in").mkdir()
    duckdb.sql(f"COPY (SELECT *, 15.5 AS temp_c FROM ({rows} FROM range(2000) t(i))) TO '{tmp_path}/in/a.parquet'")
    run.write_summaries(here, folder, str(tmp_path / "in"))
    facts = run.derive_targets(here, reduced=folder).facts
    drops = facts["night_drop"].groupby("site")["night_drop"].max()
    assert drops["S1"] == 0 and (drops.drop("S1") > SWING / 2).all() and set(drops.index) == set(SITES)
    assert facts["logger_notes"][1:] == [
        "Not used, for they hang at no site of the book: tank 4.", "1 of them have readings in the book too, which are not used.",
    ]  # fmt: skip
    (here / "rillbook.toml").write_text((here / "rillbook.toml").read_text().replace("time_zone = ", 'time_zone = "Asia/Tokyo" # '))
    with pytest.raises(RillbookError, match=r"those of .*, the book's those of Asia/Tokyo"):
        run.derive_targets(here, reduced=folder)


def test_a_stretch_that_a_check_marked_is_no_evidence(study: Callable[..., Path]) -> None:
    here = study("a", SITES, hot_hours=30)
    with open_book(here) as connection:
        marked = connection.execute("SELECT count(*) FROM logger_flags WHERE rule = 'out_of_range'").fetchall()[0][0]
    derived = run.derive_targets(here)
    assert marked >= len(SITES) and derived.facts["logger_left_out"] >= 30 * len(SITES)
    assert derived.facts["logger_record"]["max"].max() < 16
    assert "highest 15.5 °C" in page(here, derived).text


def test_a_logger_in_a_tank_says_nothing_of_the_field(study: Callable[..., Path], monkeypatch: pytest.MonkeyPatch) -> None:
    here = study("a")
    sheets = [
        write(here, "enclosures.csv", ["enclosure_id,taxon,life_stage,volume_l", "E1,AAA,larva,40"]),
        write(here, "loggers.csv", ["logger_id,enclosure_id,medium", "logtank,E1,water"]),
    ]
    run.load_files(here, sheets, today=TODAY)
    run.load_files(here, [export(here, "logtank", 0)], write(here, "map.toml", MAP), today=TODAY)
    # nor is anything reduced, or imported for it
    monkeypatch.setattr("pipeline.summaries.reduce.reduce_readings", lambda *_: pytest.fail("the tank's readings were reduced"))
    derived = run.derive_targets(here)
    assert "night_drop" not in derived.facts and "No logger: the night drop is not known." in page(here, derived).text


def test_pages_without_a_target_are_named(study: Callable[..., Path]) -> None:
    here = study()
    assert run.taxa_without_target(run.derive_targets(here)) == []
    one = write(here, "one.csv", ["find_id,visit_id,taxon,life_stage,count,microhabitat", f"F1,S1-{DAYS[0]},BBB,adult,1,on_surface"])
    (here / "rillbook.toml").write_text(
        SETTINGS + SETTINGS[SETTINGS.index("[[taxon]]") :].replace("AAA", "BBB").replace("Aus bus", "Bus cus")
    )
    run.load_files(here, [one], today=TODAY, replace=True)
    derived = run.derive_targets(here)
    assert run.taxa_without_target(derived) == ["BBB"]
