"""A first column map as TOML, each guess with its reason and examples; no coordinate, name of a place or person stands in it."""

from __future__ import annotations

import glob
import json
import re
import textwrap
from typing import Any

from pipeline.mapping.column_content import FEW_CODES, Content
from pipeline.mapping.first_map import FirstMap, FirstSource
from pipeline.mapping.match_fields import declared
from pipeline.mapping.propose_sites import Line
from pipeline.mapping.propose_style import readable_as_day
from schemas.tables import LOADED

WIDTH = 110
HEADER = """\
# A first map, proposed from the sheets. It is not finished, and `check` and `load` refuse it until you have done two things:
# 1. Look at each line marked `guess`. Mend it if it is wrong. Then take its name out of the list `confirm`.
# 2. Write the right word for each `ask`.
# The words are explained in docs/column_maps.md. What the sheets do not say, above all which taxa were looked for and whether every
# animal was counted, is not proposed: without it no absence is stated.
"""


def written(proposed: FirstMap) -> str:
    """Text of a map.

    Parameters
    ----------
    proposed : FirstMap
        What is proposed.

    Returns
    -------
    str
        A whole TOML file.
    """
    several = len(proposed.sources) > 1
    names = list(dict.fromkeys(name for source in (None, *proposed.sources) for name in _guesses(proposed, source, several)))
    files = " and ".join(dict.fromkeys(source.sheet.file for source in proposed.sources))
    about = "Proposed by rillbook. Write here what you decided, and who told you."
    parts = [HEADER, f"title = {_text('First map of ' + files)}", f"about = {_text(about)}", _confirm(names)]
    if proposed.reading:
        parts += ["\n[reading]", *(_line(line, {}) for line in proposed.reading)]
    parts += [_source(source) for source in proposed.sources]
    return "\n".join(parts) + "\n"


def open_points(proposed: FirstMap) -> tuple[int, int]:
    """Numbers of guesses to confirm and of questions to answer."""
    lines = [*proposed.reading, *(line for source in proposed.sources for line in source.lines)]
    names = {name for source in (None, *proposed.sources) for name in _guesses(proposed, source, len(proposed.sources) > 1)}
    return len(names), sum(asks(line.value) for line in lines)


def asks(value: Any) -> int:
    """How many questions a value of a map holds."""
    if isinstance(value, dict):
        return sum(asks(one) for one in value.values())
    return int(value == "ask")


def _guesses(proposed: FirstMap, source: FirstSource | None, several: bool) -> list[str]:
    lines = proposed.reading if source is None else source.lines
    label = f"{source.sheet.label}: " if source is not None and several else ""
    paths = [line.path.split(".")[0] if line.path.startswith("wide.") else line.path for line in lines if line.guess]
    return [label + path for path in dict.fromkeys(paths)]


def _confirm(names: list[str]) -> str:
    return "confirm = [\n" + "".join(f"  {_text(name)},\n" for name in names) + "]"


def _source(source: FirstSource) -> str:
    parts = ["\n[[source]]", f"file = {_text(glob.escape(source.sheet.file))}"]
    if source.sheet.sheet:
        parts.append(f"sheet = {_text(source.sheet.sheet)}")
    groups: dict[str, list[Line]] = {}
    for line in source.lines:
        groups.setdefault(line.path.partition(".")[0], []).append(line)
    for line in groups.pop("unused", []):
        parts += [_comment(line, source.columns), *_about(line.value, source.columns), _key("unused", line.value)]
    for group in [one for one in ("skip", "no_find", "total", "wide", *LOADED) if one in groups]:
        parts.append(f"\n[source.{group}]")
        said = ""
        for line in groups[group]:
            comment = "" if group == "wide" and line.reason == said else line.reason
            said = line.reason or said
            parts.append(_line(line if comment or group != "wide" else Line(line.path, line.value), source.columns))
    return "\n".join(parts)


def _line(line: Line, columns: dict[str, Content]) -> str:
    comment = _comment(line, columns)
    rest = line.path.partition(".")[2]
    own = rest.removeprefix("columns.")
    key = f"columns.{_bare(own)}" if rest.startswith("columns.") else _bare(rest)
    return (comment + "\n" if comment else "") + f"{key} = {_value(line.value)}"


def _key(name: str, value: list[str]) -> str:
    listed = textwrap.wrap(", ".join(_text(one) for one in value), WIDTH, break_long_words=False, break_on_hyphens=False)
    # a text must not be cut at a space within it
    if any(line.count('"') % 2 for line in listed) or any("\\" in line for line in listed):
        listed = [f"{_text(one)}" + ("," if at < len(value) - 1 else "") for at, one in enumerate(value)]
    return f"{name} = [\n" + "".join(f"  {line}\n" for line in listed) + "]"


def _comment(line: Line, columns: dict[str, Content]) -> str:
    if not line.reason:
        return ""
    word = "ask" if asks(line.value) else "guess" if line.guess else "seen"
    shown = [one for name in line.columns if _may_be_shown(line.path, columns[name]) for one in columns[name].examples]
    text = f"{word}: {line.reason}" + (f". Such as {', '.join(_plain(one) for one in shown)}" if shown else "")
    return "\n".join(f"# {part}" for part in textwrap.wrap(_plain(text), WIDTH + 20))


def _may_be_shown(path: str, content: Content) -> bool:
    """Whether cells may stand in the map: none that says where something is, or who was there."""
    if content.may_be_a_place:
        return False
    table, _, own = path.partition(".")
    return table not in LOADED or declared(path).kind in ("day", "clock") or not declared(f"{table}.{own}").protected


def _about(names: list[str], columns: dict[str, Content]) -> list[str]:
    """A line of comment for each unused column: what kind of thing it holds, and none of its cells."""
    return [f"#   {_plain(name)}: {_kind(columns[name])}" for name in names]


def _kind(content: Content) -> str:
    if not content.filled:
        return "empty"
    if content.may_be_a_place:
        return "may be a place; its cells are not shown"
    if content.numeric == 1:
        return f"numbers, {content.numbers.min():g} to {content.numbers.max():g}"
    if readable_as_day(content) > 0.5:
        return "dates"
    return f"{'' if content.distinct > FEW_CODES else 'no more than '}{max(content.distinct, 1)} different texts"


def _plain(text: str) -> str:
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def _bare(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _text(text: str) -> str:
    # a TOML basic string is a JSON string but for DEL
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_bare(name)} = {_value(one)}" for name, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_value(one) for one in value) + "]"
    return str(value) if isinstance(value, int) else _text(str(value))
