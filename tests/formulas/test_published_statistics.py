"""The statistics of three modules against published figures.

`check_values/statistics.csv` and `check_values/season.csv` hold the published or recomputed figures with their source,
`check_values/ids.csv` lists every figure that was collected, and LEFT_OUT says why some are
not met here. C101 is met by Monte Carlo, so within 0.02.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.statistics import bootstrap, quantiles, sample_size

HERE = Path(__file__).parents[1] / "check_values"
CHECKS = HERE / "statistics.csv"
NOT_COMPUTED = {
    "normal tolerance limits": range(32, 45),
    "quantile types 5 to 9": range(58, 69),
    "Poisson and binomial intervals": range(69, 90),
    "a cluster-robust standard error of a mean": [100],
    "a two-stage bootstrap that resamples within clusters": [102],
    "circular statistics": range(109, 122),
    "rates": range(128, 132),
}
LEFT_OUT = {f"C{number:02d}": f"nothing here computes {what}" for what, numbers in NOT_COMPUTED.items() for number in numbers}


def _smallest_n(q: float, confidence: float) -> int:
    n = 1
    while True:
        lower, upper, _ = sample_size.quantile_ranks(n, q, confidence)
        if lower >= 1 and upper <= n:
            return n
        n += 1


def _ranks_coverage(n: int, q: float, confidence: float, ranks: list[int]) -> float:
    lower, upper, coverage = sample_size.quantile_ranks(n, q, confidence)
    assert [lower, upper] == ranks
    return coverage


def _draws_standard_error(values: list[list[float]]) -> float:
    table = np.asarray(values)
    sites, _ = bootstrap.crossed_draws(len(table), 1, 20_000, np.random.default_rng(20240501))
    return float((sites @ table.mean(axis=1) / len(table)).std())


COMPUTE: dict[str, Any] = {
    "smallest_n_with_finite_ranks": _smallest_n,
    "quantile_ranks": _ranks_coverage,
    "one_minus_wilks_content": lambda **given: 1 - sample_size.wilks_content(**given),
    "n_over_design_effect": lambda **given: sum(given["cluster_sizes"]) / sample_size.design_effect(**given),
    "crossed_draws_standard_error": _draws_standard_error,
    "weighted_quantile": lambda **given: quantiles.weighted_quantile(**given)[0],
}


def _checks() -> list[dict[str, str]]:
    with CHECKS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_every_collected_figure_is_met_or_left_out_with_a_reason() -> None:
    with (HERE / "ids.csv").open(encoding="utf-8", newline="") as file:
        collected = {row["id"] for row in csv.DictReader(file) if row["id"].startswith("C")}
    with (HERE / "season.csv").open(encoding="utf-8", newline="") as file:
        of_season = {row["id"] for row in csv.DictReader(file)}
    met = {row["id"] for row in _checks()} | of_season
    assert met | set(LEFT_OUT) == collected and not met & set(LEFT_OUT)
    assert len(collected) == 131 and len(of_season) == 6


@pytest.mark.parametrize("row", _checks(), ids=lambda row: row["id"])
def test_published_value(row: dict[str, str]) -> None:
    compute = COMPUTE.get(row["function"]) or getattr(sample_size, row["function"])
    assert compute(**json.loads(row["arguments"])) == pytest.approx(float(row["expected"]), rel=0, abs=float(row["tolerance"]))
