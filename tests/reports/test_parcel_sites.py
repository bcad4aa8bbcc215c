"""Sites of a parcel: one near the boundary may be a neighbour's."""

from __future__ import annotations

from report_study import SQUARE

from pipeline.reports.parcel_sites import on_parcel


def test_a_site_near_the_boundary_may_be_a_neighbours() -> None:
    """A hundredth of a degree is 900 m east and 1,110 m north here; 0.0002° of latitude is 22 m (by hand: 111 km a degree)."""
    latitude = [36.005, 36.0002, 36.0002, 35.9998, 35.5, 36.005, float("nan")]
    radius = [30.0, 30.0, 15.0, 30.0, 30.0, float("nan"), 30.0]
    word = on_parcel(latitude, [-81.995] * 7, ["WGS84"] * 7, radius, SQUARE)
    assert word.tolist() == ["inside", "near", "inside", "near", "outside", "near", "outside"]
    # an unknown datum may be hundreds of metres off, so this place may lie outside
    assert on_parcel([36.005], [-81.995], [None], [30.0], SQUARE)[0] == "near"
