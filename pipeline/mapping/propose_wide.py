"""Columns of counts that become rows: passes, or a column for each species and stage."""

from __future__ import annotations

import re
from dataclasses import dataclass

from pipeline.mapping.column_content import Content
from pipeline.mapping.known_words import CODE_WORDS, OTHER_THINGS
from pipeline.mapping.propose_style import ENOUGH

CODE = re.compile(r"[A-Z]{4,6}")
PASS = re.compile(r"(?:\b|_)(?:pass|sweep|round)[\s_-]*(?:count|no|nr)?[\s_.-]*(\d{1,2})\b", re.I)
# a larger number is no count of one taxon and stage at one visit (judgement)
MOST = 500
GENERAL = frozenset(("count", "counts", "n", "no", "number", "of", "total"))


@dataclass(frozen=True)
class Wide:
    """Wide columns with what each sets, and why; `by_taxon` where the columns name the taxa."""

    columns: dict[str, dict[str, str]]
    reason: str
    by_taxon: bool


def wide_columns(columns: dict[str, Content], taken: set[str], taxa: dict[str, str]) -> Wide | None:
    """Find the wide columns of a sheet.

    Parameters
    ----------
    columns : dict of str to Content
        The columns of the sheet.
    taken : set of str
        Columns that a field has.
    taxa : dict of str to str
        Code of each known name, code or alias, in lower case; empty where no book is known.

    Returns
    -------
    Wide or None
        None where fewer than two columns are alike.
    """
    counts = [name for name, one in columns.items() if name not in taken and _counts(one)]
    passes = {name: {"pass_no": str(int(found[1]))} for name in counts if (found := PASS.search(_spaced(name)))}
    if len(passes) > 1:
        return Wide(passes, "a column of counts for each pass", by_taxon=False)
    kinds = {name: sets for name in counts if (sets := _kind(name, taxa))}
    # one column alone may be anything; a stage says that it counts animals, or a code of the book
    in_book = {code.casefold() for code in taxa.values()}
    sure = [name for name, sets in kinds.items() if sets.get("life_stage") or sets["taxon"].casefold() in in_book]
    # among headings that are all in capitals a code does not stand out
    coded = [name for name, sets in kinds.items() if CODE.fullmatch(sets["taxon"]) and not "".join(columns).isupper()]
    staged = {name: sets for name, sets in kinds.items() if name in sure or name in coded}
    if len(staged) < 2:
        return None
    strange = sorted({sets["taxon"] for sets in staged.values()} - set(taxa.values())) if taxa else []
    said = f"; {', '.join(strange)}: no name of the book, add an alias there or write its code here" if strange else ""
    return Wide(staged, f"a column of counts for each taxon or stage{said}", by_taxon=True)


def _counts(one: Content) -> bool:
    """Whether a column may hold counts; an empty one may too, for a taxon that was never met."""
    if not one.filled:
        return True
    known = one.numbers.dropna()
    return one.numeric >= ENOUGH and one.whole and bool(known.between(0, MOST).all())


def total_column(columns: dict[str, Content], wide: Wide, taken: set[str]) -> str:
    """Heading of a column that adds up the wide columns in most rows; empty where there is none."""
    added = sum(columns[name].numbers.fillna(0) for name in wide.columns)
    for name, one in columns.items():
        if name not in taken and name not in wide.columns and {"total", "sum"} & set(one.words) and one.filled:
            known = one.numbers.notna()
            if (one.numbers[known] == added[known]).mean() >= ENOUGH:  # type: ignore[index]
                return name
    return ""


def _spaced(name: str) -> str:
    return re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)


def _kind(name: str, taxa: dict[str, str]) -> dict[str, str] | None:
    """Taxon and stage that a heading names; the taxon in the words of the sheet where no book knows it."""
    stages, stage = CODE_WORDS["life_stage"], ""
    parts = [part for part in re.split(r"[\s_./()]+", _spaced(name)) if part and part.casefold() not in GENERAL]
    # DFUS-L; the hyphen within a name, two-lined, is part of it
    parts = [one for part in parts for one in (part.rsplit("-", 1) if part.rpartition("-")[2].casefold() in stages else [part]) if one]
    for at in (-1, 0):
        word = parts[at].casefold() if len(parts) > 1 else ""
        if word in stages and (len(word) > 1 or at == -1):
            stage, parts = stages[word], parts[:-1] if at == -1 else parts[1:]
            break
    if not parts or any(part.casefold() in OTHER_THINGS or part.isdigit() for part in parts):
        return None
    written = " ".join(parts)
    known = taxa.get(written.casefold())
    if not known and not stage and not CODE.fullmatch(written):
        return None
    sets = {"taxon": known or written}
    return {**sets, "life_stage": stage} if stage else sets
