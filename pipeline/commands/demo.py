"""The whole path on the invented study."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from pipeline.commands.book_state import init
from pipeline.commands.derive import Derived, derive_targets
from pipeline.commands.maps import write_maps
from pipeline.commands.publish import publish
from pipeline.commands.reports.gaps import write_gaps
from pipeline.commands.reports.landowners import write_landowner
from pipeline.commands.reports.permits import write_permits
from pipeline.commands.tanks.audit import Audited, audit
from pipeline.intake.load import load_files
from pipeline.intake.report import Progress, Report, silent


@dataclass(frozen=True)
class Demo:
    """What the invented study came to."""

    report: Report
    faults: pd.DataFrame
    derived: Derived
    files: list[Path]
    audited: Audited | None = None

    @property
    def as_planned(self) -> bool:
        """Every planted fault met its effect, and nothing else was held or marked."""
        return bool((self.faults["expected"] == self.faults["met"]).all())


def run_demo(folder: Path, progress: Progress = silent) -> Demo:
    """Run the whole path on the invented study in a new folder.

    Raises
    ------
    RillbookError
        The folder holds a book already.
    """
    from pipeline.commands import demo_study as demo

    init(folder, demo.settings_text())
    report = load_files(folder, demo.copy_sheets(folder / "sheets"), progress=progress)
    assert isinstance(report, Report), "the invented study holds a logger's export"
    derived = derive_targets(folder, write_pages=True, progress=progress)
    files = [*derived.pages]
    files += write_maps(folder, progress=progress)
    for written in (write_gaps(folder, progress=progress, derived=derived), write_permits(folder), write_landowner(folder)):
        files += [path for path in written.files if path.suffix == ".html"]
    files += publish(folder, progress=progress).files
    audited = _at_the_tank(folder, progress)
    files += [path for path in audited.files if path.suffix == ".html"]
    return Demo(report, demo.compare(report.held, report.flags), derived, files, audited)


def _at_the_tank(folder: Path, progress: Progress) -> Audited:
    """Load what the invented keeper wrote, and audit the four enclosures."""
    from pipeline.commands import demo_study as demo

    sheets, exports = demo.copy_tank_sheets(folder / "sheets" / "tanks")
    load_files(folder, sheets, progress=progress)
    load_files(folder, exports, progress=progress)
    return audit(folder, until=demo.TANKS_UNTIL, progress=progress)
