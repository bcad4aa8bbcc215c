"""What is generated is up to date, whole and the same below any folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from schemas.generate import WRITTEN, data_dictionary, generated_files, number, rule_list, write_all
from schemas.rules.rules import RULES
from schemas.tables import MODELS, fields
from schemas.vocabulary import codes, vocabulary_names

REMEDY = "run python -m schemas.generate"


def test_generated_files_are_up_to_date(root: Path) -> None:
    for name, text in generated_files().items():
        path = root / name
        assert path.exists(), f"{name} is missing: {REMEDY}"
        assert path.read_bytes() == text.encode("utf-8"), f"{name} is out of date: {REMEDY}"


def test_no_table_schema_is_left_over(root: Path) -> None:
    assert {path.stem for path in (root / "schemas/table_schema").glob("*.json")} == set(MODELS)
    assert {path.stem for path in (root / "schemas/table_schema/out").iterdir()} == set(WRITTEN)


def test_write_all_writes_the_same_below_any_folder(tmp_path: Path) -> None:
    written = write_all(tmp_path)
    assert {path.relative_to(tmp_path).as_posix(): path.read_bytes().decode() for path in written} == generated_files()


def test_every_field_rule_and_code_is_in_the_documents() -> None:
    dictionary, rules = data_dictionary(), rule_list()
    for table in MODELS:
        section = dictionary.split(f"\n## {table}\n")[1].split("\n## ")[0]
        for field in fields(table).values():
            assert section.count(f"| `{field.name}` | {field.title} |") == 1
    for name in vocabulary_names():
        section = dictionary.split(f"### List: {name}\n")[1].split("\n### ")[0]
        for code in codes(name):
            assert section.count(f"| `{code}` |") == 1
    for rule in RULES:
        section = rules.split(f"\n## {rule.effect.replace('_', ' ')}\n")[1].split("\n## ")[0]
        assert section.count(f"| `{rule.id}` |") == 1


def test_rows_of_a_markdown_table_have_equally_many_cells() -> None:
    for text in (data_dictionary(), rule_list()):
        width = 0
        for line in text.splitlines():
            cells = line.replace("\\|", "").count("|") if line.startswith("|") else 0
            assert not (width and cells) or cells == width, line
            width = cells


@pytest.mark.parametrize(("value", "text"), [(30.0, "30"), (-0.5, "-0.5"), (20037509, "20037509"), (0.005, "0.005")])
def test_bounds_are_written_in_full(value: float, text: str) -> None:
    assert number(value) == text
