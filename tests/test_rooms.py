"""The rooms of the house: each module has its test module, none is long, and no folder is full."""

from __future__ import annotations

from pathlib import Path

import pytest

# Modules without a test module of their own, each with the reason.
ELSEWHERE = {
    "cli/": "the command line is run as a person runs it in tests/test_cli.py and tests/commands",
    "commands/": "steps of a command are run through tests/commands and tests/test_cli.py",
    "intake/": "steps from files to the book are run through tests/intake, tests/book and tests/checking",
    "__main__": "starts the command line; tests/test_wheel.py runs it from the installed package",
    "settings/intervals": "read with the other settings: tests/tanks/test_due.py",
    "schemas/rules/finds": "each rule has its bad row: tests/checking/test_check.py",
    "schemas/rules/sites_and_visits": "each rule has its bad row: tests/checking/test_check.py",
    "schemas/rules/rule": "what rules are made of: tests/schemas/rules/test_rules.py",
    "schemas/rules/figures": "what rules are made of: tests/schemas/rules/test_rules.py",
    "schemas/rules/shared_masks": "what rules are made of: tests/schemas/rules/test_rules.py",
    "checking/outcome": "declares what a check hands on",
    "book/absences": "views in SQL of whole loads: tests/checking/test_absences.py",
    "book/engine": "imports the database: tests/test_architecture.py",
    "book/tables": "tables and views in SQL: tests/book/test_connection.py and its neighbours",
    "schemas/enums": "declares words: effects in tests/checking/test_check.py, statuses in tests/targets",
    "schemas/frames/air_and_water": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/field": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/checks": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/ledger": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/summaries": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/maps": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
    "schemas/frames/reports": "declares shapes: all of them in tests/schemas/frames/test_frame.py",
}
MOST_LINES, MOST_MODULES = 300, 17
# Fuller today: a folder that grows, or is no longer full, must be looked at here.
FULL: dict[str, int] = {}
# Longer today, to be emptied: a module that is no longer over must leave this list.
TOO_LONG: set[str] = set()


def modules(root: Path) -> dict[str, Path]:
    """Modules by the name under which they are listed here: those of pipeline/ by their room, those of schemas/ with its name."""
    paths = [path for folder in ("pipeline", "schemas") for path in sorted((root / folder).rglob("*.py")) if path.name != "__init__.py"]
    return {path.relative_to(root).with_suffix("").as_posix().removeprefix("pipeline/"): path for path in paths}


def has_tests(root: Path, name: str) -> bool:
    room, _, module = name.rpartition("/")
    return (root / "tests" / room / f"test_{module}.py").exists()


def excused(name: str) -> str | None:
    return next((entry for entry in ELSEWHERE if name == entry or (entry.endswith("/") and name.startswith(entry))), None)


def test_each_module_has_its_test_module(root: Path) -> None:
    assert not [name for name in modules(root) if not has_tests(root, name) and excused(name) is None]


@pytest.mark.parametrize("entry", ELSEWHERE)
def test_an_excuse_is_of_use(root: Path, entry: str) -> None:
    its = [name for name in modules(root) if excused(name) == entry]
    assert its, f"{entry} is gone: drop it from the list"
    if not entry.endswith("/"):
        assert not has_tests(root, entry), f"{entry} has its test module: drop it from the list"


def test_no_module_is_long_but_those_that_are_listed(root: Path) -> None:
    long = {name for name, path in modules(root).items() if len(path.read_text(encoding="utf-8").splitlines()) > MOST_LINES}
    assert long == TOO_LONG


def test_no_folder_is_full(root: Path) -> None:
    folders = [path.parent.relative_to(root).as_posix() for path in modules(root).values()]
    full = {folder: folders.count(folder) for folder in set(folders) if folders.count(folder) > MOST_MODULES}
    assert full == FULL
