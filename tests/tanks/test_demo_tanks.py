"""The four invented enclosures: the audit says of each exactly what was made to happen."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pandas as pd
import pytest

from pipeline.commands.run import Demo
from pipeline.tanks.audit import Audit

Run = tuple[Path, Demo]


def of(demo_run: Run, code: str) -> Audit:
    audited = demo_run[1].audited
    assert audited is not None
    return next(one for one in audited.audits if one.enclosure["enclosure_id"] == code)


def test_the_sheets_are_what_the_script_makes(root: Path) -> None:
    # by its path: the tests of the room have the same name
    found = importlib.util.spec_from_file_location("made_tanks", root / "data" / "demo" / "tanks.py")
    assert found and found.loader
    made_by = importlib.util.module_from_spec(found)
    sys.modules["made_tanks"] = made_by
    sys.path.insert(0, str(root / "data" / "demo"))
    try:
        found.loader.exec_module(made_by)
    finally:
        sys.path.pop(0)
    for name, text in made_by.generate().items():
        assert (root / "data" / "demo" / "tank_sheets" / name).read_bytes() == text.encode("utf-8"), name


def test_the_good_one_is_inside_all_the_time(demo_run: Run) -> None:
    found = of(demo_run, "T1")
    assert found.state == "inside" and found.all_inside and found.sensors[0].verdict.spells.empty  # type: ignore[union-attr]


def test_the_failed_chiller_is_one_warm_week(demo_run: Run) -> None:
    found = of(demo_run, "T2")
    assert found.state == "inside" and not found.all_inside
    assert "It was warm from 12 July 2025 1" in found.sentence and "to 19 July 2025 1" in found.sentence
    spells = found.sensors[0].verdict.spells  # type: ignore[union-attr]
    assert set(spells["state"]) == {"warm"}
    over = spells[spells["why"] == "above the act line"]
    assert over["start"].min() > pd.Timestamp("2025-07-12 18:00") and over["end"].max() < pd.Timestamp("2025-07-20 00:00")
    assert 150 < over["hours"].sum() < 175 and len(found.sensors[0].over_ceiling)
    # the ammonia of the weeks after, and its state by the limits
    assert found.water.loc[found.water["quantity"] == "Un-ionised ammonia", "state"].tolist().count("look") == 1


def test_the_dead_sensor_is_unknown_since_it_stopped(demo_run: Run) -> None:
    found = of(demo_run, "T3")
    assert found.state == "unknown" and found.since is not None and not found.all_inside
    # the last change before it died stands at most a step before 06:00 local time
    assert pd.Timestamp("2025-07-21 09:29") <= found.since <= pd.Timestamp("2025-07-21 10:00")


def test_the_larva_that_metamorphosed_is_held_against_its_new_lines(demo_run: Run) -> None:
    found = of(demo_run, "T4")
    days = found.sensors[0].days.set_index("day")
    assert set(days.loc[:"2025-07-09", "stage"]) == {"larva"} and set(days.loc["2025-07-10":, "stage"]) == {"metamorph"}
    assert days["act_line"].loc["2025-07-10"] < days["act_line"].loc["2025-07-09"]
    assert found.state == "inside" and found.stage == "metamorph"
    assert any("lowest line of N-high and S-low" in words for words in found.sensors[0].used), "its population is unknown"


@pytest.mark.parametrize("code", ["T1", "T2", "T3", "T4"])
def test_its_page_tells_it(demo_run: Run, code: str) -> None:
    page = (demo_run[0] / "out" / "tanks" / f"audit_{code}.html").read_text(encoding="utf-8")
    assert of(demo_run, code).sentence.split(": ", 1)[1][:30] in page and "Invented study" in page
    assert ("can drown where it cannot leave" in page) is (code == "T4")
    assert "veterinarian" in page and "no diagnosis" in page
