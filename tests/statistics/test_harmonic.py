"""One harmonic against published figures (check_values/season.csv, with their source) and statsmodels' weighted least squares."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.statistics.harmonic import cosinor, cosinor_at


def _checks() -> list[dict[str, str]]:
    with (Path(__file__).parents[1] / "check_values" / "season.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_cosinor(row: dict[str, str]) -> None:
    times, values = ([float(word) for word in row[name].split()] for name in ("times", "values"))
    fit = cosinor(times, values, np.full(len(times), 0.25), float(row["period"]))
    assert getattr(fit, row["attribute"]) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))


@given(seed=st.integers(0, 2**32), n=st.integers(6, 60))
def test_cosinor_is_weighted_least_squares_of_statsmodels(seed: int, n: int) -> None:
    from statsmodels.regression.linear_model import WLS

    rng = np.random.default_rng(seed)
    days, weights = rng.choice(np.arange(1, 366), n, replace=False), rng.uniform(0.1, 3, n)
    values = 10 + 7 * np.cos(2 * np.pi * (days - 200) / 365.25) + rng.normal(0, 1, n)
    fit = cosinor(days, values, weights)
    angle = 2 * np.pi * days / 365.25
    other = WLS(values, np.stack([np.ones(n), np.cos(angle), np.sin(angle)], axis=1), weights=weights).fit()
    assert [fit.mesor, fit.cosine, fit.sine] == pytest.approx(list(other.params), rel=1e-6, abs=1e-7)
    slope = np.array([0, fit.cosine, fit.sine]) / fit.amplitude
    assert fit.amplitude_se == pytest.approx(math.sqrt(slope @ other.cov_params() @ slope), rel=1e-6)
    assert cosinor_at(fit, [fit.peak])[0] == pytest.approx(fit.mesor + fit.amplitude)


def test_two_days_make_no_course() -> None:
    with pytest.raises(ValueError, match="three different days"):
        cosinor([10, 10, 200], [1.0, 2.0, 3.0], [1, 1, 1])


def test_a_course_through_three_values_by_hand() -> None:
    """Period 4, values 12, 10, 8, 10 at 0, 1, 2, 3: mean 10, amplitude 2, highest at 0; a fourth value leaves one degree of freedom."""
    fit = cosinor([0, 1, 2, 3], [12.0, 10.0, 8.0, 10.0], np.ones(4), period=4)
    assert [fit.mesor, fit.cosine, fit.sine, fit.amplitude] == pytest.approx([10, 2, 0, 2], abs=1e-12)
    assert fit.amplitude_se == pytest.approx(0, abs=1e-9)
    assert cosinor_at(fit, [4, 5.5]) == pytest.approx([12, 10 - math.sqrt(2)])
    three = cosinor([0, 1, 2], [12.0, 10.0, 8.0], np.ones(3), period=4)
    assert three.amplitude == pytest.approx(2) and math.isnan(three.amplitude_se) and math.isnan(three.peak_se)


def test_a_value_without_weight_says_nothing() -> None:
    times, values = [0, 1, 2, 3, 2.5], [12.0, 11.0, 8.0, 9.0, 99.0]
    assert cosinor(times, values, [1, 1, 1, 1, 0], 4).mesor == pytest.approx(cosinor(times[:4], values[:4], np.ones(4), 4).mesor)
    with pytest.raises(ValueError, match="three different days"):
        cosinor(times, values, [1, 1, 0, 0, 0], 4)


def test_a_flat_year_has_no_peak_error() -> None:
    fit = cosinor([10, 100, 200, 300], [9.0] * 4, np.ones(4))
    assert fit.mesor == pytest.approx(9) and fit.amplitude == pytest.approx(0, abs=1e-9)
