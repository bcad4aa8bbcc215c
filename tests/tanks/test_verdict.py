"""Inside, warm, cold or unknown: unknown is never inside, and a sensor that cannot be trusted comes before what it says."""

from __future__ import annotations

import pandas as pd
import pytest
from tanks.tank_book import audited, steady, targets

from pipeline.tanks.verdict import COLD, INSIDE, SILENT, STILL, UNKNOWN, WARM, Verdict, joined


def verdict(temps: pd.Series | None, **words: object) -> Verdict:
    found = audited(temps, **words).sensors[0].verdict  # type: ignore[arg-type]
    assert found is not None
    return found


@pytest.mark.parametrize(("value", "state"), [(12.5, INSIDE), (17.0, WARM), (15.0, WARM), (4.0, COLD), (10.0, COLD)])
def test_each_state_by_moment_and_by_the_mean_of_days(value: float, state: str) -> None:
    assert verdict(steady("2025-07-01", "2025-07-08", value)).state == state


def test_silence_stillness_and_absence_are_unknown_and_never_all_inside() -> None:
    whole = steady("2025-07-01", "2025-07-08")
    silent = verdict(whole[whole.index < "2025-07-07 20:00"])
    still = verdict(whole * 0 + 12.5)
    none = verdict(None)
    assert [one.state for one in (silent, still, none)] == [UNKNOWN] * 3 and still.why == STILL
    assert not any(one.all_inside for one in (silent, still, none)) and verdict(whole).all_inside
    holed = verdict(whole[(whole.index < "2025-07-03") | (whole.index > "2025-07-04")])
    assert holed.state == INSIDE and not holed.all_inside
    gap = holed.spells[holed.spells["why"] == SILENT]
    assert gap["state"].tolist() == [UNKNOWN] and gap["hours"].iloc[0] == pytest.approx(24, abs=1)


def test_a_warm_reading_before_silence_does_not_hide_the_silence() -> None:
    hot = steady("2025-07-01", "2025-07-08", 17.0)
    assert verdict(hot[hot.index < "2025-07-07 12:00"]).state == UNKNOWN


def test_a_month_without_evidence_can_be_warm_and_is_never_inside() -> None:
    rows = targets(months=["1"])
    assert verdict(steady("2025-07-01", "2025-07-08"), rows=rows).state == UNKNOWN
    assert verdict(steady("2025-07-01", "2025-07-08", 19.0), rows=rows).state == WARM


def test_spells_that_touch_are_one_and_others_stay_apart() -> None:
    at = pd.to_datetime(["2025-07-01", "2025-07-02", "2025-07-05"])
    frame = pd.DataFrame(
        {"state": WARM, "start": at, "end": at + pd.Timedelta(days=1), "worst": [17.0, 19.0, 18.0], "why": "above the act line"}
    )
    spans = joined(frame, WARM)
    assert spans["worst"].tolist() == [19.0, 18.0] and spans["end"].iloc[0] == pd.Timestamp("2025-07-03")
    assert joined(frame, COLD).empty
