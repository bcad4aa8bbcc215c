"""The form in a browser: a small book, its page, and a keyboard that types like a person."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.entry import form
from pipeline.settings import read_settings
from schemas.tables import fields

HOSTILE = "</script><img src=x onerror=\"document.title='x'\">${document.title='y'}"
SETTINGS = """[book]
title = "A form's test </script><b>"
time_zone = "America/New_York"

[[area]]
code = "A"
circle = [36.1, -82.1, 30]

[[taxon]]
code = "EWIL"
scientific_name = "Eurycea wilderae"
group = "cool_stream"

[[taxon]]
code = "DMON"
scientific_name = "Desmognathus monticola"
group = "cool_stream"
"""
TODAY = date(2026, 11, 25)
HEADER = {
    "site_id": "RILL-01", "visit_date": "2024-05-03", "start_time": "09:52", "end_time": "11:40", "protocol": "time_constrained",
    "search_minutes": "95", "observer_count": "2", "thermometer_accuracy_c": "0.3", "air_temp_c": "14.5", "water_temp_c": "11.2",
}  # fmt: skip
CODES = {"taxon": "EWIL", "life_stage": "larva", "microhabitat": "rock_in_flow", "substrate": "gravel"}
NUMBERS = ("count", "water_temp_c", "substrate_temp_c", "svl_mm", "found_at")
STREAM = {**CODES, "count": "1"}
BANK = {"taxon": "DMON", "life_stage": "adult", "microhabitat": "wet_rock", "substrate": "bedrock", "count": "1"}
FINDS = [
    {
        **(STREAM if k % 3 else BANK),
        "water_temp_c": f"{10 + k / 10:.1f}",
        "substrate_temp_c": f"{10.3 + k / 10:.1f}",
        "svl_mm": str(18 + k if k % 3 else 40 + k),
        "found_at": f"10:{k + 10}",
    }
    for k in range(12)
]
# What is typed for a code: letters that find it, as a person would who has used the form twice.
LETTERS = {
    "RILL-01": "ri", "time_constrained": "ti", "EWIL": "e", "DMON": "d", "larva": "l", "adult": "a", "rock_in_flow": "rif",
    "wet_rock": "we", "gravel": "g", "bedrock": "be",
}  # fmt: skip


def page_of(folder: Path) -> Path:
    with open_book(folder) as connection:
        known = known_rows(connection)
    (folder / "out").mkdir(exist_ok=True)
    return form.write(folder / "out", read_settings(folder), known)


Opened = Callable[..., Any]


class Keyboard:
    """Types like a person and counts every key but the signs of free text and numbers."""

    def __init__(self, page: Any) -> None:
        self.page, self.count = page, 0

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)
            self.count += 1

    def free(self, text: str) -> None:
        self.page.keyboard.type(text)

    def code(self, code: str) -> None:
        self.page.keyboard.type(LETTERS[code])
        self.count += len(LETTERS[code])

    def focused(self) -> str:
        return str(
            self.page.evaluate(
                "document.activeElement.closest('.box') ? document.activeElement.closest('.box').dataset.field : document.activeElement.id"
            )
        )

    def to(self, field: str) -> None:
        for _ in range(40):
            if self.focused() == field:
                return
            self.press("Tab")
        raise AssertionError(f"the Tab key never reaches {field}; it stands at {self.focused()}")


def type_row(keys: Keyboard, table: str, values: dict[str, str]) -> None:
    order = [name for name in form.FIRST[table] if name in values]
    assert len(order) == len(values)
    for name in order:
        keys.to(name)
        if fields(table)[name].vocabulary or fields(table)[name].refers_to:
            keys.code(values[name])
        else:
            keys.free(values[name])


def type_visit(keys: Keyboard, finds: list[dict[str, str]] = FINDS, half_way: Callable[[], None] = lambda: None) -> None:
    keys.page.locator("#visits-0-protocol").focus()
    type_row(keys, "visits", HEADER)
    keys.to("add-find")
    for number, find in enumerate(finds):
        if number == len(finds) // 2:
            half_way()
        keys.press("Enter")
        type_row(keys, "finds", find)
        keys.press("Tab")
        assert keys.focused() == "add-find"


def saved(page: Any, folder: Path, press: Callable[[], None]) -> tuple[Path, dict[str, Any]]:
    with page.expect_download() as download:
        press()
    path = folder / download.value.suggested_filename
    download.value.save_as(path)
    return path, json.loads(path.read_text(encoding="utf-8"))


def click_save(page: Any) -> Callable[[], None]:
    return lambda: page.get_by_role("button", name="Save to a file").click()


def mend(page: Any, words: str, who: str = "AB") -> None:
    """Take a repair that the form offers; the first time it asks who does."""
    page.get_by_role("button", name=words).first.click()
    if page.locator("#who-mends").count():
        page.locator("#who-mends").fill(who)
        page.locator("#who-mends").press("Enter")
