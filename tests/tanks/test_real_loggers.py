"""Real loggers hung into an invented enclosure: the audit's figures against a computation of its own in pandas and numpy.

Source of the files: ibot-geoecology/myClim @45e0bd6 (air, 15 min) and djhocking/sparcnetfsu @7b45907 (soil, hours, gaps; CC0). The other
computation shares no code with the project: it reads the CSV by pandas, integrates each step by the antiderivative of what lies over a
line, and walks through the crossings one by one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from tanks.tank_book import LINES, TAXON, targets

from pipeline.book.connection import open_book
from pipeline.book.current import current_rows
from pipeline.commands import run
from pipeline.tanks.audit import Audit, audit_enclosure
from pipeline.tanks.figures import sensor_figures
from pipeline.tanks.stretch import Stretch

TOML = """
[book]
title = "Invented: real loggers in an invented enclosure"
time_zone = "America/New_York"
[[taxon]]
code = "DMON"
scientific_name = "Desmognathus monticola"
group = "cool_stream"
"""
MAPS = Path(__file__).parents[2] / "data" / "column_maps"
SOIL = "sparcnet_fsu/temperature/soil"
# logger: its files, their map, how pandas reads their times, the zone of the clock, and the columns of time and temperature
LOGGERS: dict[str, tuple[list[str], str, list[tuple[str, str, int, int, int]]]] = {
    "20024354": (
        ["logger_air_humidity/station2_comma.csv", "logger_air_humidity/station2_tab.txt"],
        "logger_air_humidity.toml",
        [("%y.%m.%d %H:%M:%S", "Etc/GMT-2", 2, 1, 2)],
    ),
    **{
        f"{plot}-{depth}": (
            [f"{SOIL}/12-1-17_Site{plot}-{depth}.csv", *([f"{SOIL}/5-25-18_Site{plot}-{depth}.csv"] if again else [])],
            "sparcnet_fsu_loggers.toml",
            [("%m/%d/%y %H:%M", "America/New_York", 1, 0, 3)],
        )
        for plot, depth, again in ((1, 10, False), (2, 0, False), (3, 20, False))
    },
}


def read_alone(path: Path, form: str, zone: str, skipped: int, time_column: int, temp_column: int) -> pd.Series:
    """Temperatures by instant, as pandas reads the first of the files."""
    cells = pd.read_csv(path, skiprows=skipped, header=None, dtype=str, encoding="utf-8-sig")
    rows = cells[cells[temp_column].notna() & cells[time_column].notna()]
    local = pd.to_datetime(rows[time_column], format=form)
    utc = local.dt.tz_localize(zone, ambiguous=np.zeros(len(local), dtype=bool)).dt.tz_convert("UTC").dt.tz_localize(None)
    values = pd.Series(rows[temp_column].astype(float).to_numpy(), index=pd.DatetimeIndex(utc)).sort_index()
    return values[~values.index.duplicated()]


def figures_alone(values: pd.Series, zone: str) -> dict[str, Any]:
    """Hours, degree-hours, longest excursion and days in the band, by another way than the project's."""
    at = values.index.astype("int64").to_numpy() / (3.6e9 if values.index.unit == "us" else 3.6e12)
    gap = 2 * np.median(np.diff(at))
    midnights = pd.date_range(values.index[0].normalize(), values.index[-1] + pd.Timedelta(days=2), freq="D", tz=zone)
    edges = midnights.tz_convert("UTC").tz_localize(None).as_unit("ns").astype("int64").to_numpy() / 3.6e12
    before = np.searchsorted(at, edges) - 1
    inside = (before >= 0) & (before < len(at) - 1)
    inside &= at[np.clip(before + 1, 0, len(at) - 1)] - at[np.clip(before, 0, None)] <= gap
    times = np.union1d(at, edges[inside])
    temps = np.interp(times, at, values.to_numpy())
    step, low, high = np.diff(times), temps[:-1], temps[1:]
    # a step that was cut keeps the length of the whole for the question whether it is a gap
    whole = np.searchsorted(at, times[:-1], side="right") - 1
    bridged = at[whole + 1] - at[whole] <= gap * (1 + 1e-9)
    found: dict[str, Any] = {"hours": step[bridged].sum(), "n": len(at)}
    for name, line, sign in (("act_line", 16.0, 1), ("ceiling", 18.0, 1), ("cold_line", 5.0, -1), ("watch_line", 18.0, 1)):
        a, b = np.maximum(sign * (low - line), 0), np.maximum(sign * (high - line), 0)
        rise = sign * (high - low)
        with np.errstate(divide="ignore", invalid="ignore"):
            hours = np.where(rise == 0, step * (a > 0), step * (b - a) / rise)
            area = np.where(rise == 0, step * a, step * (b**2 - a**2) / 2 / rise)
        found[f"{name}_h"], found[f"{name}_dh"] = hours[bridged].sum(), area[bridged].sum()
    found["longest_h"] = _longest(times, temps, bridged, 16.0)
    day = np.searchsorted(edges, times[:-1], side="right")
    frame = pd.DataFrame({"day": day, "h": step, "area": step * (low + high) / 2})[bridged].groupby("day").sum()
    known = frame[frame["h"] >= 0.75 * np.array([edges[one] - edges[one - 1] for one in frame.index])]
    mean = known["area"] / known["h"]
    found["days_known"], found["days_in_band"] = len(known), int(mean.between(11.0, 14.0).sum())
    return found


def _longest(times: Any, temps: Any, bridged: Any, line: float) -> float:
    """Walk along the readings; a run goes from crossing to crossing and ends at a gap."""
    longest = run_h = 0.0
    for place in range(len(times) - 1):
        h, a, b = times[place + 1] - times[place], temps[place] - line, temps[place + 1] - line
        if not bridged[place]:
            run_h = 0.0
            continue
        if a > 0 and b > 0:
            run_h += h
        elif a > 0:
            longest, run_h = max(longest, run_h + h * a / (a - b)), 0.0
        elif b > 0:
            run_h = h * b / (b - a)
        elif a < 0 or b < 0:
            run_h = 0.0
        longest = max(longest, run_h)
    return longest


@pytest.fixture(scope="module")
def audits(open_data: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Audit]:
    folder = tmp_path_factory.mktemp("real") / "book"
    folder.mkdir()
    (folder / "rillbook.toml").write_text(TOML, encoding="utf-8")
    enclosures = ["enclosure_id,taxon,life_stage,medium,population"] + [f"E{code},DMON,larva,land,north" for code in LOGGERS]
    loggers = ["logger_id,enclosure_id,medium"] + [f"{code},E{code},land" for code in LOGGERS]
    for name, lines in (("enclosures", enclosures), ("loggers", loggers)):
        (folder / f"{name}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    run.load_files(folder, [folder / "enclosures.csv", folder / "loggers.csv"])
    for files, known, _ in LOGGERS.values():
        run.load_files(folder, [open_data / name for name in files], MAPS / known)
    rows, found = targets({"medium": "land"}), {}
    with open_book(folder) as connection:
        for row in current_rows(connection, "enclosures").to_dict("records"):
            code = row["enclosure_id"].removeprefix("E")
            query = "SELECT min(read_at), max(read_at) FROM logger_readings WHERE logger_id = ?"
            first, last = connection.execute(query, [code]).fetchall()[0]
            stretch = Stretch(pd.Timestamp(first), pd.Timestamp(last) + pd.Timedelta(days=2), "America/New_York")
            found[code] = audit_enclosure(connection, row, rows, TAXON, stretch)
    return found


@pytest.mark.open_data
@pytest.mark.parametrize("code", LOGGERS)
def test_the_figures_are_those_of_another_computation(code: str, audits: dict[str, Audit], open_data: Path) -> None:
    files, _, (way,) = LOGGERS[code]
    values = read_alone(open_data / files[0], *way)
    expected = figures_alone(values, "America/New_York")
    (sensor,) = audits[code].sensors
    found = sensor_figures(sensor, audits[code].stretch)
    assert LINES["act_line"] == 16.0 and LINES["ceiling"] == 18.0
    assert found["n_readings"] == expected["n"] > 1000
    assert found["hours_covered"] == pytest.approx(expected["hours"], abs=1e-6)
    for name in ("act_line_h", "act_line_dh", "ceiling_h", "ceiling_dh", "cold_line_h", "cold_line_dh", "watch_line_h", "longest_h"):
        assert found[name] == pytest.approx(expected[name], abs=1e-5), name
    assert (found["days_known"], found["days_in_band"]) == (expected["days_known"], expected["days_in_band"])
    assert expected["act_line_h"] > 10, "a logger that never was above the line tests little"


@pytest.mark.open_data
def test_what_two_exports_share_counts_once_and_gaps_stay_open(audits: dict[str, Audit], open_data: Path) -> None:
    air = audits["20024354"]
    values = read_alone(open_data / LOGGERS["20024354"][0][0], *LOGGERS["20024354"][2][0])
    assert sensor_figures(air.sensors[0], air.stretch)["n_readings"] == len(values)
    assert air.state == "unknown", "the record ends two days before the stretch"
