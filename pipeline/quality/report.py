"""Data quality: rows in Darwin Core terms to the responses of the TDWG tests, a summary of each test, and a page.

Each test runs once for each distinct combination of what it reads, so that 100,000 rows take seconds.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from pipeline.quality.published_tests import CONTRADICTIONS, DIMENSIONS, LEFT_OUT, SOURCE, TESTS
from pipeline.quality.responses import (
    AMENDED,
    COMPLIANT,
    FILLED_IN,
    NAMESPACES,
    NOT_AMENDED,
    NOT_COMPLIANT,
    NOT_ISSUE,
    POTENTIAL_ISSUE,
    RAN,
    Response,
    Test,
)
from pipeline.writing.page import render

REPORTED, NOT_RUN = "REPORTED", "NOT_RUN"
OUTCOMES = (COMPLIANT, NOT_COMPLIANT, POTENTIAL_ISSUE, NOT_ISSUE, AMENDED, FILLED_IN, NOT_AMENDED, REPORTED, NOT_RUN)
TO_LOOK_AT = (NOT_COMPLIANT, POTENTIAL_ISSUE, AMENDED, FILLED_IN)
PREFIXES = ("dwc:", "dcterms:", "dc:")
READ_TERMS = frozenset(term for test in TESTS for term in test.terms)
SHOWN, SHOWN_PLACES = 8, 3


@dataclass(frozen=True)
class Answers:
    """One test's responses: which of `responses` each row has, and the inputs of each."""

    codes: np.ndarray
    responses: list[Response]
    inputs: list[tuple[str, ...]]


@dataclass(frozen=True)
class Assessment:
    """All tests over some rows.

    Attributes
    ----------
    n_rows : int
    terms : list of str
        Darwin Core terms of the rows that a test reads.
    others : list of str
        Columns that no test reads.
    summary : DataFrame
        One row a test: `test`, `dimension`, `kind`, `guid`, `version`, rows of each of `OUTCOMES`, and for validations
        `not_compliant_after`, were every proposal taken.
    responses : DataFrame
        `test`, `status`, `result`, `comment`, `inputs` (JSON; only where there is something to look at), `n_rows`, `first_rows`.
        The rows of each test add up to `n_rows`.
    records : DataFrame
        One row a record: its name, and how many validations it passed, failed and could not be held against, and how many proposals
        there are (the standard's measures over one record).
    """

    n_rows: int
    terms: list[str]
    others: list[str]
    summary: pd.DataFrame
    responses: pd.DataFrame
    records: pd.DataFrame


def in_terms(frame: pd.DataFrame) -> pd.DataFrame:
    """Take the namespace off the names of columns, and turn what is missing into empty text.

    Parameters
    ----------
    frame : DataFrame
        Columns named by Darwin Core terms, with or without ``dwc:``, ``dc:`` or ``dcterms:``.

    Returns
    -------
    DataFrame of str
    """
    names = {name: str(name)[len(prefix) :] for name in frame for prefix in PREFIXES if str(name).startswith(prefix)}
    return frame.rename(columns=names).fillna("").astype(str)


def assess(frame: pd.DataFrame, names: pd.Series | None = None) -> Assessment:
    """Run every test over rows in Darwin Core terms; nothing is changed.

    Parameters
    ----------
    frame : DataFrame
        One row a record; columns of other names are listed and not read. A term without a column counts as empty.
    names : Series of str, optional
        What to call each row, such as its line; from 1 on where it is not given.

    Returns
    -------
    Assessment
    """
    rows = in_terms(frame).reset_index(drop=True)
    called = pd.Series(range(1, len(rows) + 1)).astype(str) if names is None else names.reset_index(drop=True).astype(str)
    codes = {term: pd.factorize(rows[term])[0] for term in rows.columns if term in READ_TERMS}
    after, changed = _amended(rows)
    counts = {word: np.zeros(len(rows), dtype=int) for word in ("compliant", "not_compliant", "not_run", "proposals")}
    summary, tables = [], []
    for dimension, tests in DIMENSIONS.items():
        for test in tests:
            answers = answer(test, rows, codes)
            outcomes = outcomes_of(test, answers.responses)
            of_rows = outcomes[answers.codes] if len(rows) else outcomes
            _count(counts, test, of_rows)
            tallied = {word: int((of_rows == word).sum()) for word in OUTCOMES}
            left = _failing_after(test, changed, after, tallied[NOT_COMPLIANT])
            head = {"test": test.label, "dimension": dimension, "kind": test.kind, "guid": test.guid, "version": test.version}
            summary.append({**head, **{word.lower(): n for word, n in tallied.items()}, "not_compliant_after": left})
            tables.append(_table(test, answers, outcomes, called))
    responses = pd.concat(tables, ignore_index=True)
    known, others = [term for term in rows if term in READ_TERMS], [str(term) for term in rows if term not in READ_TERMS]
    frame_of_tests = pd.DataFrame(summary).astype({"not_compliant_after": "Int64"})
    return Assessment(len(rows), known, others, frame_of_tests, responses, pd.DataFrame({"row": called, **counts}))


def answer(test: Test, rows: pd.DataFrame, codes: Mapping[str, np.ndarray] | None = None) -> Answers:
    """Run one test, once for each distinct combination of its inputs.

    Parameters
    ----------
    test : Test
    rows : DataFrame of str
        Columns named by terms; those that are not there count as empty.
    codes : mapping of str to ndarray of int, optional
        Columns as numbers, where they are known already.

    Returns
    -------
    Answers
    """
    joined = np.zeros(len(rows), dtype=np.int64)
    for term in (term for term in test.terms if term in rows):
        column = codes[term] if codes is not None else pd.factorize(rows[term])[0]
        # numbered anew after each column, so that the product never overflows
        joined = pd.factorize(joined * (int(column.max(initial=0)) + 1) + column)[0]
    any_row = np.full(int(joined.max(initial=-1)) + 1, -1)
    any_row[joined] = np.arange(len(rows))
    taken = [rows[term].to_numpy(dtype=object)[any_row].tolist() if term in rows else [""] * len(any_row) for term in test.terms]
    inputs = list(zip(*taken, strict=True))
    return Answers(joined, [test.run(*values) for values in inputs], inputs)


def outcomes_of(test: Test, responses: list[Response]) -> np.ndarray:
    """One word of `OUTCOMES` for each response."""
    measure = test.kind == "measure"
    ran = [(one.result if not measure else REPORTED) if one.status == RAN else one.status for one in responses]
    return np.array([word if word in OUTCOMES else NOT_RUN for word in ran], dtype=object)


def _failing_after(test: Test, changed: set[str], after: pd.DataFrame, now: int) -> int | None:
    """Rows that would fail a validation were every proposal taken."""
    if test.kind != "validation":
        return None
    if not changed & set(test.terms):
        return now
    answers = answer(test, after)
    return int((outcomes_of(test, answers.responses)[answers.codes] == NOT_COMPLIANT).sum()) if len(after) else 0


def _amended(rows: pd.DataFrame) -> tuple[pd.DataFrame, set[str]]:
    """A copy with every proposal taken, in the standard's order, and the terms that changed; to say what validations would then find."""
    copy, changed = rows.copy(), set()
    for test in TESTS:
        if test.kind != "amendment":
            continue
        answers = answer(test, copy)
        proposed = [json.loads(one.result) if one.status in (AMENDED, FILLED_IN) else {} for one in answers.responses]
        for name in {name for values in proposed for name in values}:
            term = name.partition(":")[2]
            new = np.array([values.get(name) for values in proposed], dtype=object)[answers.codes]
            old = copy[term] if term in copy else pd.Series("", index=copy.index)
            copy[term] = pd.Series(new, index=copy.index).where(pd.notna(new), old)
            changed.add(term)
    return copy, changed


def _count(counts: dict[str, np.ndarray], test: Test, of_rows: np.ndarray) -> None:
    if test.kind == "validation":
        for word, name in (("compliant", COMPLIANT), ("not_compliant", NOT_COMPLIANT), ("not_run", NOT_RUN)):
            counts[word] += of_rows == name
    elif test.kind == "amendment":
        counts["proposals"] += (of_rows == AMENDED) | (of_rows == FILLED_IN)


def _table(test: Test, answers: Answers, outcomes: np.ndarray, called: pd.Series) -> pd.DataFrame:
    """Responses of one test; those that ask nothing of anybody are one line each, the others one line for each distinct input."""
    sizes = np.bincount(answers.codes, minlength=len(answers.responses)).tolist()
    order = np.argsort(answers.codes, kind="stable")
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(int).tolist()
    names = called.to_numpy(dtype=object)
    lines: dict[tuple[str, ...], list[Any]] = {}
    for place, response in enumerate(answers.responses):
        inputs = _as_json(test, answers.inputs[place]) if outcomes[place] in TO_LOOK_AT else ""
        line = lines.setdefault((*response, inputs), [0, []])
        line[0] += sizes[place]
        if (wanted := SHOWN_PLACES - len(line[1])) > 0:
            line[1] += names[order[starts[place] : starts[place] + min(sizes[place], wanted)]].tolist()
    found = [(test.label, *key, n, ", ".join(rows)) for key, (n, rows) in lines.items()]
    return pd.DataFrame(found, columns=["test", "status", "result", "comment", "inputs", "n_rows", "first_rows"])


def _as_json(test: Test, values: tuple[str, ...]) -> str:
    given = {NAMESPACES.get(term, f"dwc:{term}"): value for term, value in zip(test.terms, values, strict=True) if value}
    return json.dumps(given, ensure_ascii=False)


def page(found: Assessment, what: str, settings: Any) -> str:
    """The report as a page; private, for it shows values as they were given and codes of the book.

    Parameters
    ----------
    found : Assessment
    what : str
        Whose rows they are, in words.
    settings : Settings
        Of the book.

    Returns
    -------
    str
        HTML; one file.
    """
    counts = found.summary
    n_failing = counts["not_compliant"]
    silent = counts["test"].str.endswith("_NOTEMPTY") & (n_failing == found.n_rows) & (n_failing > 0)
    failing = counts[(n_failing > 0) & ~silent].sort_values(["not_compliant", "test"], ascending=[False, True])
    issues = counts[counts["potential_issue"] > 0]
    facts = {
        "silent": [", ".join(test.terms) for test in TESTS if test.label in set(counts.loc[silent, "test"]) and len(test.terms) == 1],
        "failing": [{**row, "examples": _examples(found, row["test"], NOT_COMPLIANT)} for row in failing.to_dict("records")],
        "issues": [{**row, "examples": _examples(found, row["test"], POTENTIAL_ISSUE)} for row in issues.to_dict("records")],
        "corrections": _proposals(found, AMENDED),
        "fillings": _fillings(found),
        "expected": {test.label: test.expected for test in TESTS},
        "tests": {name: counts[counts["dimension"] == name].to_dict("records") for name in DIMENSIONS},
        "n_tests": len(TESTS),
        "n_clean": int((found.records["not_compliant"] == int(silent.sum())).sum()),
        "left_out": LEFT_OUT,
        "contradictions": CONTRADICTIONS,
        "source": SOURCE,
    }
    return render("quality", "quality.html", found=found, what=what, settings=settings, **facts)


def _examples(found: Assessment, test: str, word: str) -> dict[str, Any]:
    """The commonest inputs of one outcome, and how many more there are."""
    rows = found.responses[(found.responses["test"] == test) & (found.responses["result"] == word)].sort_values(
        ["n_rows"], ascending=False, kind="stable"
    )
    shown = [{**row, "given": _given(row["inputs"])} for row in rows.head(SHOWN).to_dict("records")]
    return {"shown": shown, "more": max(0, len(rows) - SHOWN)}


def _given(inputs: str) -> str:
    return "; ".join(f"{term.partition(':')[2]} {value!r}" for term, value in json.loads(inputs or "{}").items())


def _proposals(found: Assessment, status: str, test: str = "", most: int = 5 * SHOWN) -> dict[str, Any]:
    rows = found.responses[(found.responses["status"] == status) & found.responses["test"].str.startswith(test)]
    rows = rows.sort_values("n_rows", ascending=False, kind="stable")
    shown = [
        {**row, "given": _given(row["inputs"]) or "nothing", "proposed": _given(row["result"])}
        for row in rows.head(most).to_dict("records")
    ]
    return {"shown": shown, "more": max(0, len(rows) - most)}


def _fillings(found: Assessment) -> list[dict[str, Any]]:
    """What would fill empty terms, one line a test with its commonest example: there may be one for each day."""
    rows = found.summary[found.summary["filled_in"] > 0].to_dict("records")
    return [{**row, "example": _proposals(found, FILLED_IN, row["test"], 1)["shown"][0]} for row in rows]
