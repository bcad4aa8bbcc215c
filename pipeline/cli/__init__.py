"""The command line: thin, plain words, exit code 0 all accepted, 1 something held back, 2 could not run and nothing changed.

Comes in: words of a command. Goes out: lines or JSON, and an exit code. Knows commands, and nothing of how they work.
"""

from __future__ import annotations

import gc
import io
import logging
import os
import sys
from typing import Annotated

import typer

from pipeline.cli import keeping, loading, recording, reporting, sharing, study, tanks, the_book
from pipeline.cli.printing import ALL_ACCEPTED, say
from pipeline.errors import RillbookError

COULD_NOT_RUN, INTERRUPTED = 2, 130
GARBAGE = (20_000, 20, 20)
"""New objects before Python looks for those that nobody holds, and how many such looks before it looks among the older ones."""
STOPPED = "stopped. What was not finished is not in the book; `rillbook status` says what is."
HELP = "From the records of a stream survey to the temperatures that keepers copy, and maps that do not give the spring away."
app = typer.Typer(
    name="rillbook",
    help=HELP,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


@app.callback(help=HELP)
def before_any_command(
    wait: Annotated[float, typer.Option("--wait", min=0, help="Seconds to wait for a book that another command is using.")] = 30.0,
) -> None:
    """Take what stands before the command."""
    from pipeline.book.connection import WAIT_S

    WAIT_S.set(wait)


# In the order of the help: before the field, at the desk, for the keeper, to share.
for command in (
    recording.init, recording.enter, recording.sheets,
    loading.column_map, loading.check, loading.load, loading.photos,
    the_book.held, the_book.status, the_book.undo, the_book.backup, the_book.restore, the_book.export_sheets,
    keeping.summaries, keeping.targets, tanks.audit, tanks.schedule, tanks.guide,
    sharing.map_command,
    reporting.gaps, reporting.permit, reporting.landowner,
    sharing.quality, sharing.publish,
    keeping.compare, keeping.blend,
    study.demo,
):  # fmt: skip
    app.command(name="map" if command is sharing.map_command else None)(command)


def main() -> None:
    """Run the command line; errors are one line with a remedy, never a traceback."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a console that lacks a sign shows its number rather than stopping half-way
            stream.reconfigure(errors="backslashreplace")
    # a command is short, and the libraries' own objects are many: to look through them for what is no longer used takes its time
    gc.set_threshold(*GARBAGE)
    told = _Told()
    told.setFormatter(logging.Formatter("%(message)s"))
    logging.getLogger("rillbook").addHandler(told)
    try:
        sys.exit(_run())
    except BrokenPipeError:
        # whoever reads the output has seen enough; nothing may be written at exit any more
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(ALL_ACCEPTED)


class _Told(logging.Handler):
    """What the path has to say while it goes on, on the error stream."""

    def emit(self, record: logging.LogRecord) -> None:
        """Say one message."""
        say(self.format(record), err=True)


def _run() -> int:
    try:
        code = int(app(sys.argv[1:] or ["--help"], standalone_mode=False) or ALL_ACCEPTED)
        return _fail(STOPPED) if code == INTERRUPTED else code
    except RillbookError as problem:
        return _fail(str(problem))
    except (KeyboardInterrupt, typer.Abort):
        return _fail(STOPPED)
    except BrokenPipeError:
        raise
    except Exception as problem:
        if hasattr(problem, "format_message"):
            return _fail(f"{problem.format_message().rstrip('.')}. Try `rillbook --help`.")
        if os.environ.get("RILLBOOK_TRACEBACK"):
            raise
        first = (str(problem).splitlines() or [""])[0]
        return _fail(
            f"rillbook stumbled over {type(problem).__name__}: {first}. What was not finished is not in the book. "
            "Set RILLBOOK_TRACEBACK=1, run it again and report what it prints."
        )


def _fail(text: str) -> int:
    say(f"rillbook: {' '.join(text.split())}", err=True)
    return COULD_NOT_RUN
