"""What one map is drawn from."""

from __future__ import annotations

import pytest
from map_books import (
    KEY,
    SETTINGS,
    enough,
    finds_of,
    known_of,
    parts_of,
    study,
)

from pipeline.errors import RillbookError
from pipeline.maps import parts as map_parts
from pipeline.maps.frames import exact_cells
from pipeline.publishing import protect


def test_a_flag_that_nobody_settled_takes_a_find_out_of_its_stage_and_its_reading_off_the_map():
    frames = study(enough(stage="larva", water_temp_c=14.0))
    known = known_of(frames)
    known["finds"] = known["finds"].assign(in_doubt=True)
    cells = finds_of(exact_cells(known, SETTINGS.taxa))
    assert set(cells["layer"]) == {"in_doubt"} and cells["n_readings"].sum() == 0 and cells["n_finds"].sum() == 6
    _, withheld = protect.public_rows(protect.BookRows(*frames), SETTINGS, KEY, {})
    doubts = map_parts.public_doubts({"visits": (), "finds": set(frames[2]["find_id"])}, withheld.codes)
    shown = parts_of(frames, doubts=doubts)
    assert set(finds_of(shown.cells)["layer"]) == {"in_doubt"} and finds_of(shown.cells)["n_readings"].sum() == 0
    assert any("nobody has settled" in note for note in shown.facts["notes"]) and shown.pattern.empty
    # the visit's own water reading is in doubt: it stands in for nothing
    visits = frames[1].assign(water_temp_c=27.0, in_doubt=True)
    cells = finds_of(exact_cells({**known_of(study(enough())), "visits": visits}, SETTINGS.taxa))
    assert cells["n_readings"].sum() == 0


@pytest.mark.parametrize(
    "address", ["http://tiles.invalid/{z}/{x}/{y}.png", "https://tiles.invalid/{z}/{x}.png", "tiles", "https://a@b/{z}{x}{y}"]
)
def test_an_address_that_is_none_of_tiles_is_refused(address):
    with pytest.raises(RillbookError, match="no address of map tiles"):
        map_parts.tiles_address(address)
