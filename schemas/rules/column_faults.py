"""The checks that every field has, whatever its table, with their words."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """A column check that every field has, whatever its table."""

    id: str
    message: str
    remedy: str


COLUMN_FAULTS = (
    Fault("required_missing", "{title} is missing.", "Fill it in; the row cannot be used without it."),
    Fault("unreadable", "{text!r} cannot be read as {kind}.", "Write {example}."),
    Fault(
        "clock_half_missing",
        '{text!r} has no am or pm, and the column map says clock = "ampm".',
        "Write it with am or pm, as 1:15 pm; or take the word clock out of the column map if the sheet counts 24 hours.",
    ),
    Fault(
        "date_ambiguous",
        "{text!r} can be read as more than one date.",
        "Write the date as YYYY-MM-DD, or state date_order in a column map.",
    ),
    Fault(
        "not_possible",
        "{text} {unit} is not possible here ({low} to {high} {unit}).",
        "Read the notes again; the value is kept aside until you do.",
    ),
    Fault(
        "likely_fahrenheit",
        "{text} °C is not possible here ({low} to {high} °C).",
        "It may be Fahrenheit ({text} °F is {celsius} °C) or have lost its point: correct it to what the notes say, or state the unit in a "
        "column map.",
    ),
    Fault("code_unknown", "{text!r} is not a code of {vocabulary}.", "Use one of: {codes}."),
    Fault("unexpected", "{text} {unit} is unusual ({low} to {high} {unit} is expected).", "Kept. Read the notes again."),
    Fault(
        "several_readings",
        "{text}: {how}.",
        "Kept. Read the notes again if they lie far apart; `several` in a column map says mean, median or first.",
    ),
    Fault("at_least", "{text} is kept as the fewest.", "Write the number alone if you know it; targets count the fewest."),
    Fault(
        "described_twice",
        "{key} is described a second time, and differs in {fields}.",
        "The first is kept. Decide which is right and correct or dismiss this one.",
    ),
    Fault("parent_held", "it hangs on {parent}, which is held back.", "Repair that row first; this one follows by itself."),
    Fault("parent_unknown", "{parent} is in no file and not in the book.", "Load that row, or correct the code."),
)
# A total column is known by a column map alone.
TOTAL_DIFFERS = Fault(
    "total_differs",
    "the counts of the row add up to {counted}, its total says {total}.",
    "Kept, and nothing is said of absence there. Look for a count that was left out or put in the wrong column.",
)
