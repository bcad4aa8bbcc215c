"""What a cross-field rule is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from schemas.enums import Effect
from schemas.rules.comparisons import Among, Comparison

HOLD_VALUE, HOLD_ROW, FLAG, FLAG_EXCLUDE = Effect
PRACTICE = "common practice, no source"
JUDGEMENT = "judgement"


@dataclass(frozen=True)
class Rule:
    """One way to be wrong.

    Attributes
    ----------
    id, table, effect : str
        Name, table and one of the four effects.
    fields : tuple of str
        Fields whose values are held or marked; the first one is named in reports.
    message, remedy : str
        What is wrong, and what to do next.
    mask : callable
        Frame to boolean Series: the rows that break the rule.
    source : str
        Where the rule comes from.
    """

    id: str
    table: str
    effect: str
    fields: tuple[str, ...]
    message: str
    remedy: str
    mask: Callable[[pd.DataFrame], pd.Series]
    source: str = PRACTICE

    @property
    def when(self) -> tuple[Comparison, ...]:
        """Comparisons that all hold where the rule is broken; empty where it is a function of its own."""
        return getattr(self.mask, "when", ())

    @property
    def among(self) -> Among | None:
        """What it asks of the finds of one visit together; none where it looks at each row alone or is a function of its own."""
        return getattr(self.mask, "among", None)
