"""A projected place without a datum, and a second place of the same site that decides it.

The worked shift is independent of the project: for 36.2 N 81.9 W the projection library puts the same degrees about 200 m apart in UTM of
NAD27 and of NAD83, which is the known step between the two grids in eastern North America (common practice, no source).
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from pyproj import CRS, Transformer

from pipeline.commands import run

CASES = Path(__file__).parents[1] / "cases"
TODAY = date(2026, 1, 1)
MAP = """[[source]]
file = "sites.csv"
[source.sites]
site_id = "Site"
habitat = { constant = "stream" }
latitude = "Lat"
longitude = "Long"
verbatim_coordinates = { columns = [{ column = "E", before = "17 north " }, "N"], join = " " }
datum = { constant = "unknown" }
"""
PLACES = {"A": (36.2123, -81.9123), "B": (36.2345, -81.9345), "C": (36.2567, -81.8567)}


def notes(tmp_path: Path, epsg: int) -> list[str]:
    # degrees in the same datum as the grid are 10 m off; WGS 84 degrees as a receiver gives them
    grid = Transformer.from_crs(4326, CRS.from_epsg(epsg), always_xy=True)
    rows = [(name, lat, lon, *grid.transform(lon, lat)) for name, (lat, lon) in PLACES.items()]
    frame = pd.DataFrame(rows, columns=["Site", "Lat", "Long", "E", "N"]).round({"E": 0, "N": 0})
    frame.astype({"E": "int64", "N": "int64"}).to_csv(tmp_path / "sites.csv", index=False)
    (tmp_path / "map.toml").write_text(MAP, encoding="utf-8")
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    report = run.check_files(tmp_path / "b", [tmp_path / "sites.csv"], tmp_path / "map.toml", today=TODAY)
    assert isinstance(report, run.Report)
    return [note for note in report.notes if "projected place" in note]


@pytest.mark.parametrize(("epsg", "fits"), [(26717, "NAD27 fits"), (26917, "WGS84 or NAD83 fits"), (32617, "WGS84 or NAD83 fits")])
def test_the_datum_that_fits_is_said_with_the_distances(tmp_path: Path, epsg: int, fits: str) -> None:
    (note,) = notes(tmp_path, epsg)
    assert note.startswith("3 sites have a projected place without a datum and a second place.")
    assert fits in note and "as NAD27" in note and "as NAD83" in note


def test_places_that_do_not_decide_say_so(tmp_path: Path) -> None:
    (note,) = notes(tmp_path, 26716)
    assert "does not decide the datum; leave it unknown" in note
