"""All that the command line and the notebooks call, under one name; each command has a module of its own.

A command's module is imported when it is first asked for: to import all of them takes longer than a small load.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.commands.blank_sheets import write_sheets as write_sheets
    from pipeline.commands.book_state import backup as backup
    from pipeline.commands.book_state import export_sheets as export_sheets
    from pipeline.commands.book_state import init as init
    from pipeline.commands.book_state import restore as restore
    from pipeline.commands.book_state import status as status
    from pipeline.commands.book_state import undo as undo
    from pipeline.commands.column_map import propose as propose
    from pipeline.commands.compare import compare_populations as compare_populations
    from pipeline.commands.demo import Demo as Demo
    from pipeline.commands.demo import run_demo as run_demo
    from pipeline.commands.derive import Derived as Derived
    from pipeline.commands.derive import derive_targets as derive_targets
    from pipeline.commands.derive import taxa_without_target as taxa_without_target
    from pipeline.commands.derive import write_cards as write_cards
    from pipeline.commands.derive import write_care_sheets as write_care_sheets
    from pipeline.commands.maps import write_maps as write_maps
    from pipeline.commands.publish import publish as publish
    from pipeline.commands.reports.assess_quality import write_quality as write_quality
    from pipeline.commands.reports.gaps import write_gaps as write_gaps
    from pipeline.commands.reports.landowners import write_landowner as write_landowner
    from pipeline.commands.reports.permits import write_permits as write_permits
    from pipeline.commands.reports.report_files import Written as Written
    from pipeline.commands.summaries import Summarised as Summarised
    from pipeline.commands.summaries import write_summaries as write_summaries
    from pipeline.commands.tanks.audit import Audited as Audited
    from pipeline.commands.tanks.audit import audit as audit
    from pipeline.commands.tanks.guide import write_guide as write_guide
    from pipeline.commands.tanks.year_plan import write_year_plan as write_year_plan
    from pipeline.intake.check import check_files as check_files
    from pipeline.intake.check import check_tables as check_tables
    from pipeline.intake.load import load_files as load_files
    from pipeline.intake.places_and_photos import write_photo_offers as write_photo_offers
    from pipeline.intake.read_sheets import map_sheets as map_sheets
    from pipeline.intake.repairs import held_groups as held_groups
    from pipeline.intake.repairs import held_items as held_items
    from pipeline.intake.repairs import write_held as write_held
    from pipeline.intake.report import ALL_ACCEPTED as ALL_ACCEPTED
    from pipeline.intake.report import SOME_HELD as SOME_HELD
    from pipeline.intake.report import Progress as Progress
    from pipeline.intake.report import Report as Report
    from pipeline.intake.report import WouldReplaceError as WouldReplaceError

NAMES = {
    "pipeline.commands.blank_sheets": ("write_sheets",),
    "pipeline.commands.book_state": ("backup", "export_sheets", "init", "restore", "status", "undo"),
    "pipeline.commands.column_map": ("propose",),
    "pipeline.commands.compare": ("compare_populations",),
    "pipeline.commands.demo": ("Demo", "run_demo"),
    "pipeline.commands.derive": ("Derived", "derive_targets", "taxa_without_target", "write_cards", "write_care_sheets"),
    "pipeline.commands.maps": ("write_maps",),
    "pipeline.commands.publish": ("publish",),
    "pipeline.commands.reports.assess_quality": ("write_quality",),
    "pipeline.commands.reports.gaps": ("write_gaps",),
    "pipeline.commands.reports.landowners": ("write_landowner",),
    "pipeline.commands.reports.permits": ("write_permits",),
    "pipeline.commands.reports.report_files": ("Written",),
    "pipeline.commands.summaries": ("Summarised", "write_summaries"),
    "pipeline.commands.tanks.audit": ("Audited", "audit"),
    "pipeline.commands.tanks.guide": ("write_guide",),
    "pipeline.commands.tanks.year_plan": ("write_year_plan",),
    "pipeline.intake.check": ("check_files", "check_tables"),
    "pipeline.intake.load": ("load_files",),
    "pipeline.intake.places_and_photos": ("write_photo_offers",),
    "pipeline.intake.read_sheets": ("map_sheets",),
    "pipeline.intake.repairs": ("held_groups", "held_items", "write_held"),
    "pipeline.intake.report": ("ALL_ACCEPTED", "SOME_HELD", "Progress", "Report", "WouldReplaceError"),
}
"""What stands in which module."""
WHERE = {name: module for module, names in NAMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *WHERE])
