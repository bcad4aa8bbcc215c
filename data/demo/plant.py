"""Plants the faults into the invented study and writes down where each stands."""

from __future__ import annotations

from collections.abc import Callable

from faults import FIND_FAULTS, POINT_FAULTS, SITE_FAULTS, VISIT_FAULTS, Around, Fault, Row, number, unmeasured_but_svl

from schemas.tables import key_of
from schemas.vocabulary import medium_of

Tables = dict[str, list[Row]]
LINE_FIELDS = ("fault_no", "table", "row_key", "field", "rule", "effect", "text", "note")


def plant(tables: Tables) -> list[Row]:
    """Plant the faults into the tables.

    Parameters
    ----------
    tables : dict
        Text rows of sites, visits, finds and availability; changed in place.

    Returns
    -------
    list of dict
        One line a row and rule that a check must find, fields as in ``LINE_FIELDS``; a fault that shows at several rows has one number.
    """
    lines: list[Row] = []
    used: set[str] = set()
    for fault in SITE_FAULTS + VISIT_FAULTS + FIND_FAULTS + POINT_FAULTS:
        _plant_one(tables, fault, used, lines)
    for special in (_described_twice, _near_duplicate, _reading_copied, _visit_twice, _clock_ambiguous):
        special(tables, used, lines)
    return lines


def _around(tables: Tables, row: Row) -> Around:
    visit_id = row.get("visit_id", "")
    visit = next((one for one in tables["visits"] if one["visit_id"] == visit_id), {})
    return Around(visit, *(sum(one["visit_id"] == visit_id for one in tables[name]) for name in ("finds", "availability")))


def _search(tables: Tables, table: str, fits: Callable[[Row, Around], bool], used: set[str], start: int) -> Row:
    """First row that fits from a point of the table on, of a visit without another fault; that visit is then used."""
    rows = tables[table]
    for step in range(len(rows)):
        row = rows[(start + step) % len(rows)]
        owner = row.get("visit_id", row[key_of(table)])
        if owner not in used and fits(row, _around(tables, row)):
            used.add(owner)
            return row
    raise LookupError(f"no row of {table} is fit for this fault")


def _line(lines: list[Row], fault_no: int, table: str, row: Row, field: str, rule: str, effect: str, text: str, note: str) -> None:
    values = (str(fault_no), table, row[key_of(table)], field, rule, effect, text, note)
    lines.append(dict(zip(LINE_FIELDS, values, strict=True)))


def _next(lines: list[Row]) -> int:
    return max((int(line["fault_no"]) for line in lines), default=0) + 1


def _plant_one(tables: Tables, fault: Fault, used: set[str], lines: list[Row]) -> None:
    fault_no = _next(lines)
    row = _search(tables, fault.table, fault.fits, used, fault_no * 67)
    changes = fault.write(row)
    row.update(changes)
    text = "; ".join(changes.values()) if any(changes.values()) else ""
    field = next(iter(changes))
    _line(lines, fault_no, fault.table, row, field, fault.rule, fault.effect, text, fault.note)
    for rule in fault.also:
        _line(lines, fault_no, fault.table, row, field, rule, "flag", text, "the same value lies outside the expected span")
    if fault.table == "visits" and fault.effect == "hold_row":
        for find in tables["finds"]:
            if find["visit_id"] == row["visit_id"]:
                _line(lines, fault_no, "finds", find, "visit_id", "parent_held", "hold_row", row["visit_id"], "its visit is held back")


def _copy_after(rows: list[Row], row: Row, **changes: str) -> Row:
    copy = {**row, **changes}
    rows.insert(next(place for place, one in enumerate(rows) if one is row) + 1, copy)
    return copy


def _described_twice(tables: Tables, used: set[str], lines: list[Row]) -> None:
    row = _search(tables, "finds", lambda row, _: unmeasured_but_svl(row) and row["life_stage"] == "larva", used, 800)
    copy = _copy_after(tables["finds"], row, svl_mm=f"{number(row, 'svl_mm') + 3:.1f}")
    _line(
        lines,
        _next(lines),
        "finds",
        copy,
        "svl_mm",
        "described_twice",
        "hold_row",
        copy["svl_mm"],
        "typed twice, with another SVL the second time",
    )


def _near_duplicate(tables: Tables, used: set[str], lines: list[Row]) -> None:
    row = _search(tables, "finds", lambda row, _: bool(row["mass_g"]) and not row["animal_id"], used, 1500)
    copy = _copy_after(tables["finds"], row, find_id=row["find_id"] + "b")
    fault_no = _next(lines)
    for one in (row, copy):
        _line(
            lines,
            fault_no,
            "finds",
            one,
            "find_id",
            "near_duplicate",
            "flag",
            one["find_id"],
            "the same animal typed twice under two codes",
        )


def _reading_copied(tables: Tables, used: set[str], lines: list[Row]) -> None:
    def in_water(visit_id: str) -> list[Row]:
        return [
            one
            for one in tables["finds"]
            if one["visit_id"] == visit_id and one["water_temp_c"] and medium_of(one["microhabitat"]) == "water"
        ]

    visit_id = _search(tables, "finds", lambda row, _: len(in_water(row["visit_id"])) == 5, used, 1100)["visit_id"]
    fault_no, text = _next(lines), in_water(visit_id)[0]["water_temp_c"]
    for row in in_water(visit_id):
        row["water_temp_c"] = text
        _line(lines, fault_no, "finds", row, "water_temp_c", "reading_copied", "flag", text, "one reading copied down the sheet")


def _visit_twice(tables: Tables, used: set[str], lines: list[Row]) -> None:
    row = _search(tables, "visits", lambda row, around: around.finds > 2, used, 300)
    copy = _copy_after(tables["visits"], row, visit_id=row["visit_id"] + "b", remarks="second sheet of the same visit")
    fault_no = _next(lines)
    for one in (row, copy):
        _line(
            lines, fault_no, "visits", one, "visit_id", "visit_twice", "flag", one["visit_id"], "two people wrote a sheet of the same visit"
        )


def _clock_ambiguous(tables: Tables, used: set[str], lines: list[Row]) -> None:
    row = _search(
        tables, "visits", lambda row, around: row["visit_date"][:7] == "2024-11" and row["start_time"] > "18:00" and around.bare, used, 0
    )  # fmt: skip
    # The first Sunday of November 2024, when the clocks went from 2 back to 1 o'clock.
    row.update(visit_date="2024-11-03", start_time="01:20", end_time="02:25")
    _line(lines, _next(lines), "visits", row, "start_time", "clock_ambiguous", "flag", "01:20", "the hour from 1 to 2 came twice")
