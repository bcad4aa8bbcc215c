"""What both forms share: the very same scripts, fields and rules as the schemas say them, and data that cannot lead out of its element."""

from __future__ import annotations

import json
from importlib import resources

from pipeline.entry import form, tank_form
from pipeline.entry.page_parts import SHARED_SCRIPTS, code_lists, field_words, in_script, rule_words, shown_fields
from pipeline.settings import parse_settings
from schemas.tables import fields
from schemas.vocabulary import codes

SETTINGS = '[book]\ntitle = "T"\ntime_zone = "UTC"\n[[taxon]]\ncode = "EWIL"\nscientific_name = "Eurycea wilderae"\ngroup = "cool_stream"\n'


def test_both_forms_run_the_shared_scripts_and_each_script_is_used() -> None:
    folder = resources.files("pipeline.entry").joinpath("templates", "form")
    there = {one.name for one in folder.iterdir() if one.name.endswith(".js")}
    assert set(SHARED_SCRIPTS) <= set(form.SCRIPTS) & set(tank_form.SCRIPTS)
    assert there == set(form.SCRIPTS) | set(tank_form.SCRIPTS)


def test_fields_come_in_the_order_asked_and_never_those_left_out() -> None:
    names = [one.name for one in shown_fields("water_tests", ("ph", "tested_on"), ("visit_id",))]
    assert names[:2] == ["ph", "tested_on"] and "visit_id" not in names and "tested_utc" not in names
    assert set(names) == {name for name, one in fields("water_tests").items() if not one.derived} - {"visit_id"}


def test_a_form_may_need_what_the_table_need_not() -> None:
    declared = fields("water_tests")["tested_on"]
    assert not declared.required and field_words(declared, True)["required"] and not field_words(declared)["required"]


def test_rules_and_lists_are_those_of_the_schemas() -> None:
    assert {rule["table"] for rule in rule_words(("husbandry_events",)).values()} == {"husbandry_events"}
    lists = code_lists(shown_fields("husbandry_events", (), ()), parse_settings(SETTINGS, "test"))
    assert [code for code, _ in lists["husbandry_event"]] == list(codes("husbandry_event"))
    assert lists["taxa"] == [["EWIL", "Eurycea wilderae"]]


def test_no_text_leads_out_of_its_script() -> None:
    hostile = {"a": "</script><img src=x>&\u2028\u2029"}
    text = in_script(hostile)
    assert not [sign for sign in "<>&\u2028\u2029" if sign in text] and json.loads(text) == hostile
