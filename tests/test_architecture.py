"""The shape of the project: style, types, directions of import, quick start, and documents that keep to what they promise."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = (
    "PIL", "astral", "duckdb", "folium", "geopandas", "ibis", "jinja2", "openpyxl", "pandas", "pandera", "psychrolib", "psycopg",
    "pyogrio", "pyproj", "pyspark", "python_calamine", "scipy", "shapely", "sqlglot", "starlette", "uvicorn", "xlsxwriter",
)  # fmt: skip
DOCUMENTS = ("README.md", "DEVELOPERS.md")


def run(root: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, *words], cwd=root, capture_output=True, text=True, timeout=600, check=False)


def passes(result: subprocess.CompletedProcess[str]) -> None:
    assert result.returncode == 0, result.stdout + result.stderr


def test_style(root: Path) -> None:
    passes(run(root, "-m", "ruff", "check", "--no-cache", "."))


def test_format(root: Path) -> None:
    passes(run(root, "-m", "ruff", "format", "--no-cache", "--check", "."))


@pytest.mark.slow
def test_types(root: Path) -> None:
    passes(run(root, "-m", "mypy"))


def test_directions_of_import(root: Path) -> None:
    passes(run(root, "-c", "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True, no_logo=True))"))


def test_help_loads_no_heavy_library(root: Path) -> None:
    result = run(root, "-c", "import sys, pipeline.cli; print(*sorted({name.split('.')[0] for name in sys.modules}))")
    passes(result)
    assert not set(result.stdout.split()) & set(HEAVY)


# Each of these stands behind one door, so that it can be changed or dropped in one place.
DOORS = {
    "folium": {"maps/page"},
    "branca": {"maps/page"},
    "duckdb": {"book/engine"},
    "ibis": {"summaries/expressions"},
    # its errors are caught where frames are checked
    "pandera": {"pandera_alone", "checking/columns", "commands/tanks/audit", "summaries/read"},
    "psycopg": {"summaries/in_postgresql"},
    "py4j": {"summaries/in_spark"},
    "pyspark": {"summaries/in_spark"},
    "jinja2": {"writing/page"},
    "icalendar": {"tanks/pages/calendar"},
    "markdown_it": {"tanks/pages/guide"},
    "astral": {"formulas/sun"},
    "pyproj": {"formulas/places"},
    "pyogrio": {"publishing/geo_files"},
    "geopandas": {"reading/waypoints", "maps/lines", "publishing/geo_files"},
    "PIL": {"reading/photos", "writing/pictures"},
    "psychrolib": {"formulas/moist_air"},
    "scipy": {"statistics/sample_size"},
    "shapely": {"publishing/geo_files", "maps/lines", "maps/panel", "reports/parcel_sites"},
    "python_calamine": {"reading/files"},
    "xlsxwriter": {"entry/workbook"},
    "openpyxl": {"entry/marked_copy"},
    "starlette": {"intake/enter", "intake/request_guard"},
    "uvicorn": {"intake/enter"},
    "typer": {
        "cli/__init__",
        "cli/keeping",
        "cli/loading",
        "cli/options",
        "cli/printing",
        "cli/recording",
        "cli/reporting",
        "cli/sharing",
        "cli/study",
        "cli/tanks",
        "cli/the_book",
    },
}


def imported(path: Path) -> set[str]:
    """Top-level names that a file imports, anywhere in it."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("library", DOORS)
def test_a_heavy_library_has_one_door(root: Path, library: str) -> None:
    files = [(folder, path) for folder in (root / "pipeline", root / "schemas") for path in folder.rglob("*.py")]
    users = {path.relative_to(folder).with_suffix("").as_posix() for folder, path in files if library in imported(path)}
    assert users, f"nothing imports {library}: drop it from pyproject.toml and from this list"
    assert users <= DOORS[library]


def blocks_after(text: str, marker: str) -> list[str]:
    """Fenced blocks that stand right after a marker line."""
    return re.findall(rf"^<!-- {marker} -->\n+```[a-z]*\n(.*?)\n```$", text, flags=re.MULTILINE | re.DOTALL)


def test_readme_has_the_two_commands(root: Path) -> None:
    text = (root / "README.md").read_text(encoding="utf-8")
    (demo,), (test,) = blocks_after(text, "demo command"), blocks_after(text, "test command")
    assert demo == "python3 -m venv .venv && .venv/bin/pip install . && .venv/bin/rillbook demo my_first_book"
    run_them = ".venv-test/bin/python -m pytest -n auto --dist loadfile"
    assert test == f"python3 -m venv .venv-test && .venv-test/bin/pip install -c constraints.txt -e '.[test]' && {run_them}"


def ci(root: Path, folder: Path, open_data: str) -> subprocess.CompletedProcess[str]:
    """Run a copy of .ci/run below `folder`, with a README whose test command only prints."""
    (folder / ".ci").mkdir()
    (folder / ".ci/run").write_bytes((root / ".ci/run").read_bytes())
    command = 'echo "ran with $RILLBOOK_OPEN_DATA and $CI"'
    (folder / "README.md").write_text(f"```bash\nfalse\n```\n<!-- test command -->\n```bash\n{command}\n```\n```bash\nfalse\n```\n")
    # Stand-ins keep this test from installing what a fresh machine lacks.
    (folder / "bin").mkdir()
    for name in ("chromium", "soffice", "java", "initdb"):
        (folder / "bin" / name).write_text("#!/bin/sh\n")
        (folder / "bin" / name).chmod(0o755)
    environment = {"PATH": f"{folder}/bin:/usr/local/bin:/usr/bin:/bin", "RILLBOOK_OPEN_DATA": open_data}
    return subprocess.run(["bash", str(folder / ".ci/run")], env=environment, capture_output=True, text=True, timeout=60, check=False)


def test_ci_refuses_to_run_without_open_data(root: Path, tmp_path: Path) -> None:
    result = ci(root, tmp_path, "no_such_folder")
    assert result.returncode == 1 and "the word none" in result.stderr and "ran with" not in result.stdout


@pytest.mark.parametrize("data", ["none", "sheets"])
def test_ci_runs_the_command_of_the_readme(root: Path, tmp_path: Path, data: str) -> None:
    (tmp_path / "sheets").mkdir()
    result = ci(root, tmp_path, data)
    expected = data if data == "none" else str(tmp_path / "sheets")
    assert result.returncode == 0 and f"ran with {expected} and true\n" in result.stdout


def documents(root: Path) -> list[Path]:
    return [root / name for name in DOCUMENTS] + sorted((root / "docs").glob("*.md"))


def anchors(path: Path) -> set[str]:
    """Anchors that a Markdown page offers: its headings, lower case, blanks as hyphens, other signs dropped."""
    titles = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
    return {re.sub(r"[^\w -]", "", title.lower()).replace(" ", "-") for title in titles}


def test_links_between_documents_lead_somewhere(root: Path) -> None:
    broken = []
    for page in documents(root):
        for target in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
            if re.match(r"[a-z]+:", target):
                continue
            name, _, anchor = target.partition("#")
            path = (page.parent / name).resolve() if name else page
            if not path.exists() or (anchor and path.suffix == ".md" and anchor not in anchors(path)):
                broken.append(f"{page.name}: {target}")
    assert not broken


def test_every_document_is_reached_from_the_index(root: Path) -> None:
    index = (root / "docs/index.md").read_text(encoding="utf-8")
    assert not [path.name for path in (root / "docs").glob("*.md") if path.name != "index.md" and f"({path.name})" not in index]


def test_every_decision_names_a_test_that_exists(root: Path) -> None:
    sections = (root / "docs/decisions.md").read_text(encoding="utf-8").split("\n## ")[1:]
    assert len(sections) >= 6
    for section in sections:
        title, last = section.splitlines()[0], section.strip().split("\n\n")[-1]
        guards = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", last)
        assert guards, f"{title}: the last paragraph names no test"
        for name, function in guards:
            assert (root / name).exists(), f"{title}: {name} does not exist"
            assert f"def {function}(" in (root / name).read_text(encoding="utf-8"), f"{title}: {name} has no {function}"


def test_the_changelog_opens_with_the_version(root: Path) -> None:
    (version,) = re.findall(r'^version = "(.*)"$', (root / "pyproject.toml").read_text(encoding="utf-8"), flags=re.MULTILINE)
    (first, *_) = re.findall(r"^## (.*)$", (root / "docs/changelog.md").read_text(encoding="utf-8"), flags=re.MULTILINE)
    assert first.split()[0] in (version, "Unreleased")


BOOK_WORDS = re.compile(r"^\| `(\w+)` \|", flags=re.MULTILINE)


def test_the_page_on_the_book_explains_every_word(root: Path) -> None:
    from pipeline.settings import COMMON_NAME, DEFAULTS, DETECTION, TAXON_DEFAULTS
    from pipeline.settings.landscape import LINES, LINES_FROM
    from pipeline.settings.reports import LIMIT_DEFAULTS, PARCEL_DEFAULTS, PERMIT_DEFAULTS, REACH_WORDS

    text = (root / "docs/book.md").read_text(encoding="utf-8")
    reports = set(PERMIT_DEFAULTS) | set(LIMIT_DEFAULTS) | set(PARCEL_DEFAULTS) | set(REACH_WORDS)
    others = {DETECTION, COMMON_NAME, LINES, LINES_FROM, "code", "circle", "box"}
    assert set(BOOK_WORDS.findall(text)) == set(DEFAULTS) | set(TAXON_DEFAULTS) | reports | others


def test_the_example_of_a_book_is_read(root: Path) -> None:
    from pipeline.settings import parse_settings

    (example,) = re.findall(r"```toml\n(.*?)```", (root / "docs/book.md").read_text(encoding="utf-8"), flags=re.DOTALL)
    settings = parse_settings(example, "docs/book.md")
    assert len(settings.taxa) and settings.areas
