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
        "It looks like Fahrenheit ({text} °F is {celsius} °C): correct it to that, or state the unit in a column map.",
    ),
    Fault("code_unknown", "{text!r} is not a code of {vocabulary}.", "Use one of: {codes}."),
    Fault("unexpected", "{text} {unit} is unusual ({low} to {high} {unit} is expected).", "Kept. Read the notes again."),
    Fault("at_least", "{text} is kept as the fewest.", "Write the number alone if you know it; targets count the fewest."),
    Fault(
        "described_twice",
        "{key} is described a second time, and differs in {fields}.",
        "The first is kept. Decide which is right and correct or dismiss this one.",
    ),
    Fault("parent_held", "it hangs on {parent}, which is held back.", "Repair that row first; this one follows by itself."),
    Fault("parent_unknown", "{parent} is in no file and not in the book.", "Load that row, or correct the code."),
)
