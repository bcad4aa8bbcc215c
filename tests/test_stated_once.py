"""Facts of biology and words between steps stand in one place: no module types a code, a month's name or a status again."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.formulas.year_days import MONTH_NAMES
from schemas.enums import Status
from schemas.vocabulary import codes

# Plain words too, which say something else in most places.
PLAIN = {"other", "unknown", Status.TARGET, Status.FOUND}
LISTS = ("life_stage", "taxon_group", "microhabitat")
WORDS = {*(code for name in LISTS for code in codes(name)), *MONTH_NAMES, *(status.value for status in Status)} - PLAIN

# Where such a word is typed all the same, and why.
TYPED = {
    "pipeline/formulas/year_days": (set(MONTH_NAMES), "the one place of the names of months"),
    "schemas/enums": ({Status.BORROWED, Status.REFUSED}, "the one place of statuses"),
    "schemas/rules/finds": ({"larva", "adult"}, "two rules on gills, which say of these stages what gills they have"),
    "pipeline/mapping/known_words": (
        set(codes("life_stage")), "which words of other people's sheets stand for which stage: a list of its own, with a test"
    ),
    "pipeline/mapping/propose_finds": ({"undetermined", "stream_unspecified"}, "what a first map says where a sheet says nothing"),
    "pipeline/care/sheet": ({"refused"}, "the name under which the template has the months without a target"),
    "pipeline/cli/keeping": ({"larva"}, "an option's default"),
    "pipeline/maps/legend": ({"adult"}, "an example in the legend: any stage would do"),
    "pipeline/maps/calendars": ({"undetermined"}, "a stage that nobody told apart gets no panel"),
    "pipeline/maps/layers": ({"undetermined"}, "a stage that nobody told apart is not drawn until it is asked for"),
    "pipeline/entry/tank_form": ({"refused"}, "a meal refused is an event of the keeper's log and no status of a target"),
    "pipeline/tanks/growth": ({"larva", "metamorph"}, "growth to metamorphosis is a question of these two stages"),
    "pipeline/tanks/pages/page": ({"metamorph"}, "the guide to moving metamorphs"),
}  # fmt: skip


def typed(text: str) -> Iterator[str]:
    """Words of the lists that a module's strings are, or hold in quotes as SQL does; docstrings tell and decide nothing."""
    tree = ast.parse(text)
    told = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in told:
            yield from WORDS & {node.value, *re.findall(r"'(\w+)'", node.value)}


def test_words_are_seen_as_strings_and_in_sql_and_not_in_docstrings() -> None:
    text = '"""Of a larva."""\nSTAGE = "larva"\nSQL = f"SELECT 1 WHERE stage = \'adult\' AND n > {n}"\nWORDS = "the adult animal"\n'
    assert sorted(typed(text)) == ["adult", "larva"]
    assert {"cave", "warm_spring", "egg_mass", "June", "refused"} <= WORDS


def test_no_module_types_a_code_a_month_or_a_status_again(root: Path) -> None:
    found = {}
    for folder in ("pipeline", "schemas"):
        for path in sorted((root / folder).rglob("*.py")):
            name = path.relative_to(root).with_suffix("").as_posix()
            found[name] = set(typed(path.read_text(encoding="utf-8"))) - TYPED.get(name, (set(), ""))[0]
    assert not {name: sorted(words) for name, words in found.items() if words}


@pytest.mark.parametrize("name", TYPED)
def test_an_exception_is_of_use(root: Path, name: str) -> None:
    words, why = TYPED[name]
    assert why and words <= set(typed((root / f"{name}.py").read_text(encoding="utf-8")))
