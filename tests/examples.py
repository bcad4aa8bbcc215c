"""On how many examples a property is tried: few in an ordinary run, all with RILLBOOK_FULL=1."""

from __future__ import annotations

import os

FULL = os.environ.get("RILLBOOK_FULL") == "1"


def examples(whole: int, few: int) -> int:
    """`whole` in a full run, `few` in an ordinary one."""
    return whole if FULL else few
