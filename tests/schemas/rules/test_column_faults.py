"""Every fault of a column says what is wrong and what to do, and its words can be filled in."""

from __future__ import annotations

import string

import pytest

from schemas.rules.column_faults import COLUMN_FAULTS, Fault

# What `pipeline.checking.columns.words` and the checks beside it fill in.
FILLED = {"title", "text", "unit", "kind", "example", "low", "high", "vocabulary", "codes", "celsius", "how", "key", "fields"}


@pytest.mark.parametrize("fault", COLUMN_FAULTS, ids=lambda fault: fault.id)
def test_words_are_whole(fault: Fault) -> None:
    used = {name for part in (fault.message, fault.remedy) for _, name, _, _ in string.Formatter().parse(part) if name}
    names = {name.split("!")[0].split(".")[0] for name in used}
    assert fault.remedy.strip() and fault.message.strip().endswith((".", ":", "?")) and not names - FILLED - {"parent"}


def test_ids_are_unique() -> None:
    assert len({fault.id for fault in COLUMN_FAULTS}) == len(COLUMN_FAULTS)
