"""The audit of a whole book: targets of its own or of someone else, a logger in °F and another zone, and what cannot be used."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from tanks.tank_book import as_document, targets
from typer.testing import CliRunner

from pipeline import cli
from pipeline.commands import run
from pipeline.commands.tanks.audit import as_document as told
from pipeline.errors import RillbookError

TOML = """
[book]
title = "Invented"
invented = true
time_zone = "America/New_York"
[intervals]
water_test = 7
[[taxon]]
code = "DMON"
scientific_name = "Desmognathus monticola"
group = "cool_stream"
"""
NOW = datetime(2025, 7, 8, 4)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book whose logger wrote °F on a clock of UTC−05:00, while the book's zone has daylight saving."""
    folder = tmp_path_factory.mktemp("audit") / "book"
    (folder / "out").mkdir(parents=True)
    (folder / "rillbook.toml").write_text(TOML, encoding="utf-8")
    sheets = {
        "enclosures": "enclosure_id,taxon,population,life_stage,medium\nT1,DMON,north,larva,water\n",
        "loggers": "logger_id,site_id,enclosure_id,medium\nL1,,T1,water\nF1,S1,,water\n",
        "water_tests": "test_id,enclosure_id,tested_on,nitrate_mg_l_n (mg/L NO3),ph\nW1,T1,2025-07-03,44.27,6.9\n",
        "husbandry_events": "event_id,enclosure_id,event_date,event,what\nH1,T1,2025-07-02,fed,worms\n",
        "sites": "site_id,habitat,latitude,longitude,datum,population\nS1,stream,36.1,-82.1,WGS84,north\n",
        "visits": "visit_id,site_id,visit_date,protocol\nV1,S1,2025-07-02,time_constrained\n",
        "finds": "find_id,visit_id,taxon,life_stage,count,microhabitat\nF1,V1,DMON,larva,1,rock_in_flow\n",
    }
    for name, text in sheets.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    assert run.load_files(folder, [folder / f"{name}.csv" for name in sheets]).exit_code == 0
    at = pd.date_range("2025-06-30 23:00", "2025-07-07 23:00", freq="30min", inclusive="left")
    warm = (at >= "2025-07-04 12:00") & (at < "2025-07-05 12:00")
    rows = [f"{one:%Y-%m-%d %H:%M:%S},{55 + place % 3 / 10 + 10 * hot:.1f}" for place, (one, hot) in enumerate(zip(at, warm, strict=True))]
    (folder / "L1.csv").write_text("\n".join(['"Date Time, GMT-05:00","Temp, °F"', *rows]) + "\n", encoding="utf-8")
    # in the stream: 15 °C from sunrise (6:16 at that place in these days) to sunset (20:48), 13 °C by night
    wild = pd.date_range("2025-07-01", "2025-07-08", freq="30min", inclusive="left")
    light = (wild.strftime("%H:%M") >= "06:30") & (wild.strftime("%H:%M") <= "20:30")
    lines = [
        f"{one:%Y-%m-%d %H:%M:%S},{13 + 2 * day + place % 2 / 10:.1f}" for place, (one, day) in enumerate(zip(wild, light, strict=True))
    ]
    (folder / "F1.csv").write_text("\n".join(['"Date Time, GMT-04:00","Temp, °C"', *lines]) + "\n", encoding="utf-8")
    run.load_files(folder, [folder / "L1.csv", folder / "F1.csv"])
    (folder / "out" / "targets.json").write_text(json.dumps(as_document(targets())), encoding="utf-8")
    return folder


def test_a_logger_in_fahrenheit_and_another_zone(made: Path) -> None:
    found = run.audit(made, "T1", since="2025-07-01", now=NOW).audits[0]
    sensor = found.sensors[0]
    spell = sensor.verdict.spells.query("why == 'above the act line'").iloc[0]  # type: ignore[union-attr]
    # 65 °F is 18.33 °C; noon at UTC-05:00 is 17:00 UTC, and 13:00 on the book's clock in July
    assert pd.Timestamp("2025-07-04 16:30") < spell["start"] < pd.Timestamp("2025-07-04 17:00")
    assert "warm from 4 July 2025 12:" in found.sentence
    assert sensor.days["high"].max() == pytest.approx((65.2 - 32) / 1.8, abs=1e-6)
    assert any("degF" in words and "-05:00" in words for words in sensor.used)


def test_the_night_drop_stands_beside_the_fields_or_says_that_it_is_not_known(made: Path) -> None:
    audited = run.audit(made, "T1", since="2025-07-01", now=NOW)
    page = (made / "out" / "tanks" / "audit_T1.html").read_text(encoding="utf-8")
    (night,) = pd.read_csv(made / "out" / "tanks" / "audit_T1_night.csv").to_dict("records")
    # by day 15 °C, by night 13 °C, each with the same ripple
    assert night["month"] == 7 and night["field_drop"] == pytest.approx(2.0, abs=0.01) and night["logger_id"] == "L1"
    assert night["night_drop"] == pytest.approx(audited.audits[0].sensors[0].night["night_drop"].iloc[0])
    assert "less than in the field" in page and "not known, and this one" not in page
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("pipeline.commands.tanks.audit.field_loggers", lambda *_: None)
        run.audit(made, "T1", since="2025-07-01", now=NOW)
    page = (made / "out" / "tanks" / "audit_T1.html").read_text(encoding="utf-8")
    assert "No logger of this book hung where this taxon was found in this medium" in page and "less than in the field" not in page


# Source: IUPAC weights: 44.27 mg/L of nitrate are 10.0 mg/L as N, where water_limits.csv says to act.
def test_a_unit_as_written_is_stored_as_nitrogen(made: Path) -> None:
    found = run.audit(made, "T1", since="2025-07-01", now=NOW).audits[0]
    row = found.water.set_index("quantity").loc["Nitrate"]
    assert row["value"] == pytest.approx(10.0, abs=0.001) and row["state"] == "act" and found.water_acts == ["Nitrate"]


def test_what_is_written_can_be_read_by_machines(made: Path) -> None:
    audited = run.audit(made, since="2025-07-01", now=NOW)
    assert {path.name for path in audited.files} >= {
        "audit_T1.html",
        "beside_T1.html",
        "due_T1.ics",
        "audit_T1_days.csv",
        "audit_T1_spells.csv",
    }
    days = pd.read_csv(made / "out" / "tanks" / "audit_T1_days.csv")
    assert len(days) == 7 and days["act_line"].eq(16).all() and days["n"].sum() == 7 * 48
    document = told(audited.audits[0])
    assert json.loads(json.dumps(document, allow_nan=False))["state"] == audited.audits[0].state
    assert document["sensors"][0]["figures"]["n_readings"] == 7 * 48


def test_targets_of_someone_else(made: Path, tmp_path: Path) -> None:
    path = tmp_path / "theirs.json"
    path.write_text(json.dumps(as_document(targets(act_line=19.0, ceiling=20.0, band_high=19.0))), encoding="utf-8")
    found = run.audit(made, "T1", targets=path, since="2025-07-01", now=NOW)
    assert "theirs.json" in found.source and "warm" not in found.audits[0].sentence
    page = (made / "out" / "tanks" / "audit_T1.html").read_text(encoding="utf-8")
    assert "The file of targets says nothing of the field" in page


@pytest.mark.parametrize(
    "text", ["", "{}", "[1]", '{"targets": []}', '{"targets": [{"taxon": "DMON"}]}', '{"targets": {"a": 1}}', "\xff", '{"targets": null}']
)
def test_a_file_that_is_no_targets_is_one_line(made: Path, tmp_path: Path, text: str) -> None:
    path = tmp_path / "bad.json"
    path.write_bytes(text.encode("latin-1"))
    with pytest.raises(RillbookError, match=r"bad\.json.*not a file of targets"):
        run.audit(made, targets=path, now=NOW)


def test_lines_out_of_order_are_refused(made: Path, tmp_path: Path) -> None:
    path = tmp_path / "bad.json"
    path.write_text(json.dumps(as_document(targets(act_line=19.0))), encoding="utf-8")
    with pytest.raises(RillbookError, match="act_line stands above ceiling"):
        run.audit(made, targets=path, now=NOW)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (lambda book: run.audit(book, "T9", now=NOW), "Known: T1"),
        (lambda book: run.audit(book, since="last week", now=NOW), "no day or moment"),
        (lambda book: run.audit(book, since="2025-07-08", until="2025-07-01", now=NOW), "ends before it begins"),
    ],
)
def test_what_cannot_be_used_is_one_line(made: Path, words: Callable[[Path], object], said: str) -> None:
    with pytest.raises(RillbookError, match=said):
        words(made)


def test_the_exit_code_is_1_unless_inside_all_the_time(made: Path, tmp_path: Path) -> None:
    words = ["audit", "T1", "--book", str(made), "--to", "2025-07-07T23:00"]
    assert CliRunner().invoke(cli.app, [*words, "--from", "2025-07-01"]).exit_code == 1
    told_json = CliRunner().invoke(cli.app, [*words, "--from", "2025-07-06", "--json"])
    assert told_json.exit_code == 1, "the water asks for something"
    assert json.loads(told_json.stdout)[0]["spells"] == []


def test_the_year_plan_takes_the_stage_of_the_day_and_the_lowest_ceiling(made: Path) -> None:
    cell = "DMON,north,larva,water,1"
    weeks = [f"{cell},1,1,1,7,7,{week},{10 + week / 20},15.0,False" for week in range(1, 53)]
    head = "taxon,population,life_stage,medium,run,from_month,from_day,to_month,to_day,n_days,week,set_point,act_line,at_floor"
    (made / "out" / "schedule.csv").write_text("\n".join([head, *weeks]) + "\n", encoding="utf-8")
    written = run.write_year_plan(made, "T1", 2026, date(2025, 7, 1))
    assert {path.name for path in written.files} == {"schedule_T1.csv", "schedule_T1.ics"}
    plan = written.tables["schedule"]
    assert plan["set_point_c"].tolist() == [pytest.approx(10 + week / 20) for week in range(1, 53)] and plan["ceiling_c"].eq(18.0).all()
    # at 36° N, the square of the one site, the days are 9.7 to 14.6 hours long
    assert plan["day_length_h"].min() == pytest.approx(9.7, abs=0.1) and plan["day_length_h"].max() == pytest.approx(14.6, abs=0.1)
    assert "latitude 36° N, the mean of the grid squares that may be shown" in written.notes[-1]
    with pytest.raises(RillbookError, match="Known: T1"):
        run.write_year_plan(made, "T9")


def test_a_guide_of_an_unknown_taxon_names_the_known_ones(made: Path) -> None:
    written = run.write_guide(made, "DMON")
    assert written.files[0].name == "guide_DMON.html" and "Shown as empty: Range and habitat" in written.notes[0]
    with pytest.raises(RillbookError, match="Known: DMON"):
        run.write_guide(made, "EWIL")
