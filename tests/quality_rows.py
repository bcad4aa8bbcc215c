"""Answers of the published tests on single rows."""

from __future__ import annotations

from pipeline.quality.published_tests import TESTS

BY_LABEL = {test.label: test for test in TESTS}
