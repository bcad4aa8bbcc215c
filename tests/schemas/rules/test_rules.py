"""Rules are declared whole; what each does is held against rule_effects.csv in tests/checking/test_check.py."""

from __future__ import annotations

from schemas.enums import EFFECTS
from schemas.rules.column_faults import COLUMN_FAULTS
from schemas.rules.rules import RULES
from schemas.tables import LOADED, fields


def test_rules_are_declared_whole() -> None:
    ids = [rule.id for rule in RULES] + [fault.id for fault in COLUMN_FAULTS]
    assert len(set(ids)) == len(ids)
    for rule in RULES:
        assert rule.table in LOADED and rule.effect in EFFECTS
        assert rule.fields and set(rule.fields) <= set(fields(rule.table)), rule.id
        assert rule.message.endswith(".") and rule.remedy.endswith(".") and rule.source, rule.id
    assert {rule.effect for rule in RULES} == set(EFFECTS)
