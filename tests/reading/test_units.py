"""Units against published conversions."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline.reading.units import SPELLINGS, UNITS, parted, to_stored, unit_named
from pipeline.reading.values import Style, read_column
from schemas.fields import Field
from schemas.tables import MODELS, fields

CHECKS = Path(__file__).parents[1] / "check_values"


def _read(field: Field, text: str, **style: Any) -> Any:
    """Value of one cell, or the name of its fault."""
    typed = read_column(pd.Series([text], dtype="str"), field, Style(**style))
    faults = [name for name, mask in typed.faults.items() if mask.iloc[0]]
    assert len(faults) <= 1
    assert not faults or pd.isna(typed.values.iloc[0])
    return faults[0] if faults else typed.values.iloc[0]


def _checks(name: str) -> list[dict[str, str]]:
    with (CHECKS / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", _checks("units.csv"), ids=lambda row: row["id"])
def test_published_conversions(row: dict[str, str]) -> None:
    field = next(field for table in MODELS for field in fields(table).values() if field.unit == row["stored_unit"] and field.kind == "real")
    assert _read(field, row["text"], unit=row["unit"]) == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


# Exact by definition: NIST SP 811 (2008) appendix B.8 (foot, inch, degree Fahrenheit), and SI prefixes
EXACT = {
    ("°C", "K"): (273.15, 0), ("m", "km"): (1.5, 1500), ("m", "cm"): (150, 1.5), ("cm", "m"): (1.5, 150), ("cm", "mm"): (15, 1.5),
    ("cm", "in"): (1, 2.54), ("cm", "ft"): (1, 30.48), ("mm", "cm"): (1.5, 15), ("mm", "m"): (0.015, 15), ("mm", "in"): (2, 50.8),
    ("m", "ft"): (10, 3.048), ("m2", "ha"): (0.5, 5000), ("m2", "ft2"): (1, 0.09290304), ("min", "h"): (1.5, 90), ("min", "s"): (90, 1.5),
    ("g", "mg"): (1500, 1.5), ("g", "kg"): (0.0015, 1.5), ("%", "fraction"): (0.95, 95), ("µS/cm", "mS/cm"): (0.15, 150),
    ("µS/cm", "mS/m"): (15, 150), ("mg/L", "ug/L"): (1500, 1.5), ("d", "h"): (36, 1.5), ("L", "mL"): (1500, 1.5), ("°C", "degF"): (50, 10),
}  # fmt: skip
# Standard atomic weights of IUPAC 2021 (from memory), rounded as the table of limits gives them; grain and US gallon: NIST SP 811.
N, H, OX, CA, C = 14.007, 1.008, 15.999, 40.078, 12.011
BY_MASS = {
    ("mg/L NH3-N", "mg/L NH3"): (1, N / (N + 3 * H)), ("mg/L NH3-N", "mg/L NH4"): (1, N / (N + 4 * H)),
    ("mg/L NO2-N", "mg/L NO2"): (1, N / (N + 2 * OX)), ("mg/L NO3-N", "mg/L NO3"): (1, N / (N + 3 * OX)),
    ("mg/L CaCO3", "dGH"): (1, 10 * (CA + C + 3 * OX) / (CA + OX)), ("mg/L CaCO3", "gpg"): (1, 64.79891 / 3.785411784),
}  # fmt: skip


@pytest.mark.parametrize(("stored", "unit"), [(stored, unit) for stored, units in UNITS.items() for unit in units])
def test_units(stored: str, unit: str) -> None:
    field = next(field for table in MODELS for field in fields(table).values() if field.unit == stored and field.kind == "real")
    if (stored, unit) in BY_MASS:
        given, expected = BY_MASS[stored, unit]
        assert _read(field, str(given), unit=unit) == pytest.approx(expected, rel=1e-3)
        return
    given, expected = (12.5, 12.5) if UNITS[stored][unit] == (1, 0) else EXACT[stored, unit]
    assert _read(field, str(given), unit=unit) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("58F", ("58", "F")), ("58 °F", ("58", "°F")), ("-4.5 cm", ("-4.5", "cm")), ("\u22124.5cm", ("\u22124.5", "cm")),
        (".5 m", (".5", "m")), ("1,5 m", ("1,5", "m")), ("58", None), ("F", None), ("", None), ("58 ", None), ("m 58", None),
    ],
)  # fmt: skip
def test_a_number_and_its_unit_part(text: str, parts: tuple[str, str] | None) -> None:
    assert parted(text) == parts


def test_spellings_of_a_unit() -> None:
    """The two signs for micro (U+00B5 and U+03BC) and for degrees (U+00B0 and U+00BA) look alike and are typed alike."""
    assert unit_named("Fahrenheit", "°C") == unit_named("ºF", "°C") == unit_named("° f", "°C") == "degF"
    assert unit_named("\u03bcS/cm", "µS/cm") == unit_named("\u00b5s/CM", "µS/cm") == "uS/cm"
    assert unit_named("Sq  Ft", "m2") == "ft2"
    # A bare degree sign may be either scale; a length is no temperature; nothing is no unit.
    assert unit_named("°", "°C") is unit_named("ft", "°C") is unit_named("", "m") is unit_named("m", "furlong") is None


def test_no_spelling_means_two_units_of_one_field() -> None:
    for stored, units in UNITS.items():
        for name in units:
            assert [unit_named(spelt, stored) for spelt in (name, *SPELLINGS[name])] == [name] * (1 + len(SPELLINGS[name]))


def test_a_turned_number_has_no_noise() -> None:
    """NIST SP 811 (2008) B.8: °C = (°F − 32)/1.8; 0.1 m is 10 cm exactly."""
    assert to_stored(50, "degF", "°C") == 10.0 and to_stored(0.1, "m", "cm") == 10.0 and to_stored(-40, "degF", "°C") == -40.0
    assert to_stored(55, "degF", "°C") == round(23 / 1.8, 10)
