"""What `rillbook status` says of a book: how many animals, and the span of every temperature that it holds."""

from __future__ import annotations

from pathlib import Path

from small_sheets import CASES, FINDS, SITES, VISITS, load, sheets
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.commands import run

AIR = VISITS.replace("water_temp_c", "water_temp_c,air_temp_c").replace("12.5\n", "12.5,-1.5\n").replace(",13\n", ",13,\n")
SPANS = {
    "visits.water_temp_c": {"n": 2, "lowest": 12.5, "highest": 13.0},
    "visits.air_temp_c": {"n": 1, "lowest": -1.5, "highest": -1.5},
    "finds.water_temp_c": {"n": 2, "lowest": 12.4, "highest": 12.6},
}


def test_status_gives_the_span_of_every_temperature_that_was_read_and_of_no_other(tmp_path: Path) -> None:
    folder = tmp_path / "b"
    run.init(folder, (CASES / "base" / "rillbook.toml").read_text())
    load(folder, sheets(folder, sites=SITES, visits=AIR, finds=FINDS.replace("adult,1", "adult,3")))
    said = run.status(folder)
    assert said["temperatures"] == SPANS and said["animals"] == {"GPOR adult": 3, "GPOR larva": 1}
    shown = CliRunner().invoke(app, ["status", "--book", str(folder)]).output
    assert "12.4" in shown and "12.6" in shown and "-1.5" in shown


def test_an_empty_book_has_no_span(tmp_path: Path) -> None:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    assert run.status(tmp_path / "b")["temperatures"] == {}
