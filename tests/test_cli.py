"""The command line as a tired person meets it: exit codes, one-line errors with a remedy, clean JSON, silence in a pipe."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import textwrap
from datetime import datetime
from pathlib import Path

import pytest
import typer.main

from pipeline import cli

ROOT = Path(__file__).resolve().parent.parent
CASES = Path(__file__).parent / "cases"
BASE = [str(CASES / "base" / f"{table}.csv") for table in ("sites", "visits", "finds", "availability")]
BAD = str(CASES / "likely_fahrenheit.finds.csv")
COMMANDS = typer.main.get_command(cli.app).commands  # type: ignore[attr-defined]

Outcome = tuple[int, str, str]


@pytest.fixture
def rillbook(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):  # type: ignore[no-untyped-def]
    def run(*words: object) -> Outcome:
        monkeypatch.setattr(sys, "argv", ["rillbook", *map(str, words)])
        with pytest.raises(SystemExit) as stopped:
            cli.main()
        out, err = capsys.readouterr()
        return int(stopped.value.code or 0), out, err

    return run


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty book, and the working folder in it."""
    (tmp_path / "b").mkdir()
    (tmp_path / "b" / "rillbook.toml").write_bytes((CASES / "base" / "rillbook.toml").read_bytes())
    monkeypatch.chdir(tmp_path / "b")
    return tmp_path / "b"


def put(folder: Path, name: str, text: str) -> Path:
    (folder / name).write_text(text, encoding="utf-8")
    return folder / name


def one_line(outcome: Outcome, *said: str) -> None:
    code, out, err = outcome
    assert code == 2 and out == ""
    assert err.startswith("rillbook: ") and err.count("\n") == 1 and "Traceback" not in err
    for part in said:
        assert part in err, err


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_the_help_is_in_the_documents_word_for_word(name: str) -> None:
    """What is ours of each help page: the sentences, the names and the help of every option. The frame is the command-line library's."""
    document = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    sections = dict(re.findall(r"^## (rillbook.*?)\n\n```text\n(.*?)```", document, re.M | re.S))
    assert set(sections) == {"rillbook", *(f"rillbook {one}" for one in COMMANDS)}
    section = " ".join(sections[f"rillbook {name}".strip()].split())
    if not name:
        assert all(re.search(rf"\b{one}\b", section) for one in COMMANDS)
        assert " ".join(str(cli.app.info.help).split()) in section
        return
    command = COMMANDS[name]
    for paragraph in str(command.help).split("\n\n"):
        assert " ".join(paragraph.split()) in section
    for parameter in command.params:
        assert " ".join(str(parameter.help).split()) in section
    assert set(re.findall(r"--[a-z-]+", section.split("Options:")[1])) >= {
        option for one in command.params for option in one.opts if option.startswith("-")
    }


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_has_an_example_that_parses(name: str) -> None:
    example = re.search(r"Example: rillbook (.+)", str(COMMANDS[name].help))
    assert example
    words = example[1].split()
    assert words[0] == name
    COMMANDS[name].make_context(name, words[1:])


def test_help_and_no_words_at_all(rillbook) -> None:  # type: ignore[no-untyped-def]
    code, out, _ = rillbook("--help")
    assert code == 0 and "Commands:" in out
    assert rillbook() == (0, out, "")


def test_targets_says_which_pages_hold_none(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    rillbook("load", *BASE)
    code, out, _ = rillbook("targets")
    named = next(line for line in out.splitlines() if line.startswith("No target at all: "))
    assert code == 0 and "say why" in named
    assert {path.name[5:9] for path in (book / "out").glob("card_*.html")} == set(re.findall(r"\b[A-Z]{4}\b", named))


def test_exit_codes(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    assert rillbook("check", *BASE)[0] == 0
    assert rillbook("check", *BASE, BAD)[0] == 1
    assert rillbook("load", *BASE)[0] == 0
    assert rillbook("load", BAD)[0] == 1
    assert rillbook("load", BAD)[0] == 0
    assert rillbook("held")[0] == 0
    assert rillbook("undo", 9)[0] == 2
    assert rillbook("undo", 2)[0] == 0
    code, out, err = rillbook("load", put(book, "v.csv", Path(BASE[1]).read_text().replace("12.5", "12.7")))
    assert (
        (code, out) == (2, "") and "a code of its own" in err.splitlines()[-1] and err.splitlines()[-1].endswith("load it with --replace.")
    )


def test_check_writes_nothing(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    def bytes_of_all() -> dict[str, bytes]:
        return {str(path): path.read_bytes() for path in sorted(book.rglob("*")) if path.is_file()}

    before = bytes_of_all()
    rillbook("check", *BASE, BAD)
    assert bytes_of_all() == before
    rillbook("load", *BASE)
    before = bytes_of_all()
    for words in (("check", BAD), ("check", *BASE), ("held",), ("status",), ("status", "--json")):
        rillbook(*words)
    assert bytes_of_all() == before


def test_a_check_says_where_what_and_what_to_do(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    _, out, err = rillbook("check", *BASE, BAD)
    assert err == ""
    assert "finds.water_temp_c: 1 × likely_fahrenheit: 55.2 °C is not possible here" in out
    assert "It may be Fahrenheit (55.2 °F is 12.9 °C) or have lost its point" in out
    assert "likely_fahrenheit.finds.csv, line 2, BAD '55.2'" in out
    assert "Nothing was written." in out


@pytest.mark.parametrize("words", [("check", *BASE, BAD), ("load", *BASE, BAD), ("held",), ("status",)])
def test_json_is_json_and_nothing_else(words: tuple[str, ...], rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    if words[0] in ("held", "status"):
        rillbook("load", *BASE, BAD)
    code, out, err = rillbook(*words, "--json")
    document = json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    assert code in (0, 1) and err == "" and document
    if words[0] in ("check", "load"):
        assert document["rows"]["accepted_with_held"] == 1 and document["held"][0]["text"] == "55.2"


def test_json_of_what_would_be_replaced(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    rillbook("load", *BASE)
    code, out, err = rillbook("load", put(book, "v.csv", Path(BASE[1]).read_text().replace("12.5", "12.7")), "--json")
    document = json.loads(out)
    assert code == 2 and document["would_change"] == ["visit V1: water_temp_c 12.5 → 12.7"]
    assert document["would_vanish"] == ["find F1", "find F2", "availability P1"] or document["would_vanish"] == [
        "find F1",
        "find F2",
        "point P1",
    ]
    assert err.count("\n") == 1


def test_replace_lists_before_it_acts(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    rillbook("load", *BASE)
    changed = put(book, "v.csv", Path(BASE[1]).read_text().replace("12.5", "12.7"))
    code, out, err = rillbook("load", changed)
    assert code == 2 and out == "" and "Would vanish:\n  find F1\n  find F2\n  point P1\n" in err
    code, out, _ = rillbook("load", changed, "--replace")
    assert code == 0 and out.index("Would vanish:") < out.index("Stored as load 2.")
    assert rillbook("undo", 2)[0] == 0
    assert "2 finds" in rillbook("status")[1]


def test_a_repair_from_beginning_to_end(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    rillbook("load", *BASE, BAD)
    assert "held-1: likely_fahrenheit.finds.csv, line 2, finds BAD water_temp_c '55.2'" in rillbook("held")[1]
    assert "Wrote 1 items to held.csv" in rillbook("held", "--csv", "held.csv")[1]
    text = (book / "held.csv").read_text(encoding="utf-8-sig").rstrip("\n")
    (book / "held.csv").write_text(text[:-4] + ",12.9,,AB,\n")
    assert "1 answers that stood there are kept" in rillbook("held", "--csv", "held.csv")[1]
    assert rillbook("check", "held.csv")[0] == 0
    code, out, _ = rillbook("load", "held.csv")
    assert code == 0 and "Stored as load 2." in out
    assert rillbook("held")[1] == "Nothing is held back.\n"
    (book / "other.csv").write_text("a,b\n1,2\n")
    one_line(rillbook("held", "--csv", "other.csv"), "is no list of held items", "Choose another name")


def test_what_a_newcomer_tries(rillbook, book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    monkeypatch.chdir(tmp_path)
    for words in (("check", BASE[0]), ("load", BASE[0]), ("held",), ("status",), ("undo", 1), ("targets",), ("map",)):
        one_line(rillbook(*words), "is not a book", "rillbook init")
    monkeypatch.chdir(book)
    one_line(rillbook("load"), "files", "--help")
    one_line(rillbook("lod", BASE[0]), "lod", "--help")
    one_line(rillbook("load", "--relpace", BASE[0]), "--relpace", "--help")
    one_line(rillbook("undo", "last"), "integer", "--help")
    one_line(rillbook("load", "nothing.csv"), "nothing.csv", "no such file", "Check the name")
    one_line(rillbook("load", str(book)), "this is a folder", "Name the files in it")
    one_line(rillbook("load", BASE[0], BASE[0]), "same name")
    one_line(rillbook("load", put(book, "empty.csv", "")), "empty.csv", "empty", "Save the sheet again")
    one_line(rillbook("load", put(book, "blank.csv", "\n , \n")), "blank.csv")
    one_line(rillbook("load", put(book, "other.csv", "name^age\na^2\n")), "other.csv", "no table has these columns", "--map")
    one_line(rillbook("load", put(book, "half.csv", "find_id,visit_id\nF,V1\n")), "half.csv", "the column taxon is missing")
    one_line(rillbook("load", BASE[0], "--map", "no.toml"), "no.toml", "no such column map")
    one_line(rillbook("load", BASE[0], "--corrects", 4), "no load 4", "rillbook status")
    one_line(rillbook("targets"), "nothing is loaded yet", "rillbook load")
    one_line(rillbook("map"), "nothing is loaded yet", "rillbook load")
    one_line(rillbook("init", "."), "holds a book already")
    one_line(rillbook("init", "../c", "--settings", "no.toml"), "no.toml", "cannot be read")
    one_line(rillbook("held", "--csv", "no/such/folder.csv"), "cannot be written", "Choose another folder")
    assert sorted(path.name for path in book.iterdir() if path.suffix != ".csv") in (
        ["rillbook.toml"],
        ["rillbook.duckdb", "rillbook.toml"],
    )


def test_a_sheet_with_a_heading_only(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    code, out, err = rillbook("check", put(book, "visits.csv", Path(BASE[1]).read_text().splitlines()[0] + "\n"))
    assert (code, err) == (0, "") and "only a heading, no rows" in out


def test_columns_that_are_not_used_are_named(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    _, out, _ = rillbook("check", *BASE[1:], put(book, "more.csv", "site_id,habitat,moon\nS1,headwater,full\n"))
    assert "more.csv: not used: moon." in out


def test_a_sheet_with_semicolons_a_mark_and_decimal_commas(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    text = Path(BASE[1]).read_text().replace(",", ";").replace(".", ",")
    (book / "visits.csv").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert rillbook("load", BASE[0], book / "visits.csv")[0] == 0
    assert json.loads(rillbook("check", *BASE[:2], "--json")[1])["rows"]["repeat"] == 3


def test_a_workbook_with_several_sheets_and_dates(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    xlsxwriter = pytest.importorskip("xlsxwriter")
    with xlsxwriter.Workbook(book / "book.xlsx") as made:
        day, clock = made.add_format({"num_format": "m/d/yy"}), made.add_format({"num_format": "h:mm"})
        notes = made.add_worksheet("notes")
        notes.write_row(0, 0, ["to do"])
        sites = made.add_worksheet("sites")
        sites.write_row(0, 0, ["site_id", "habitat"])
        sites.write_row(1, 0, ["S1", "headwater"])
        visits = made.add_worksheet("visits")
        visits.write_row(0, 0, ["visit_id", "site_id", "visit_date", "start_time", "protocol", "search_minutes"])
        visits.write_row(1, 0, ["V1", "S1"])
        visits.write_datetime(1, 2, datetime(2023, 6, 7), day)
        visits.write_number(1, 3, 20.25 / 24, clock)
        visits.write_row(1, 4, ["visual_encounter", 60])
    code, out, err = rillbook("load", "book.xlsx", "--json")
    document = json.loads(out)
    assert (code, err, document["held"]) == (0, "", [])
    assert document["tables"]["visits"]["accepted"] == 1
    assert any("sheet notes" in note for note in document["notes"])
    found = rillbook(
        "check",
        put(book, "v.csv", "visit_id,site_id,visit_date,start_time,protocol,search_minutes\nV1,S1,2023-06-07,20:15,visual_encounter,60\n"),
        "--json",
    )
    assert json.loads(found[1])["rows"]["repeat"] == 1


HOSTILE = (
    'site_id,habitat,site_name\n\x1b[31mred\x1b[0m,brook,<img src=x onerror=alert(1)>\n🦎,bach,${document.title}\n"a\nb",x\x07,\u202eabc\n'
)


def test_cells_do_not_steer_the_terminal(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    code, out, _ = rillbook("load", put(book, "sites.csv", HOSTILE))
    assert code == 1
    out += rillbook("held")[1] + rillbook("status")[1]
    assert not set(out) - {"\n"} & {chr(number) for number in [*range(32), 127, 0x202E]}
    assert "🦎" in out and "\\x1b[31mred" in out
    items = json.loads(rillbook("held", "--json")[1])
    assert {item["row"] for item in items} == {"\x1b[31mred\x1b[0m", "🦎", "a b"}, "a run of blanks in a code is one space"


def run_alone(folder: Path, *words: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "pipeline", *words, "--book", str(folder)],
        cwd=ROOT,
        capture_output=True,
        env={**os.environ, **environment},
        timeout=60,
    )


def test_it_runs_as_a_module_silent_in_a_pipe_and_on_a_console_without_signs(book: Path) -> None:
    done = run_alone(book, "load", *BASE, BAD)
    assert done.returncode == 1 and done.stderr == b""
    changed = put(book, "v.csv", Path(BASE[1]).read_text().replace("12.5", "12.7"))
    done = run_alone(book, "load", str(changed), PYTHONIOENCODING="cp1252")
    assert done.returncode == 2 and b"water_temp_c 12.5 \\u2192 12.7" in done.stderr


def test_a_reader_that_stops_early_is_no_error(book: Path) -> None:
    command = f"{sys.executable} -m pipeline load {' '.join(BASE)} {BAD} --book {book} | true"
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}; echo ${{PIPESTATUS[0]}}"], cwd=ROOT, capture_output=True, text=True, timeout=60
    )
    assert done.stderr == "" and done.stdout.strip() in ("0", "1")


STOPPED = """
    import signal, sys, time
    from pipeline import cli
    from pipeline.book import loads
    # a test run in the background of a shell hands on that Ctrl-C is ignored
    signal.signal(signal.SIGINT, signal.default_int_handler)
    insert = loads.append_rows
    def slow(connection, name, frame, load_id):
        insert(connection, name, frame, load_id)
        if name == "finds_all":
            print("half-way", flush=True)
            time.sleep(60)
    loads.append_rows = slow
    sys.argv = ["rillbook", "load", *{files!r}, "--book", {folder!r}]
    cli.main()
"""


def test_stopping_by_hand_leaves_the_book_as_it_was(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    script = textwrap.dedent(STOPPED).format(files=BASE, folder=str(book))
    running = subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert running.stdout is not None and running.stdout.readline() == "half-way\n"
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=90)
    assert running.returncode == 2 and out == ""
    assert err.strip() == "rillbook: stopped. What was not finished is not in the book; `rillbook status` says what is."
    assert "Nothing is loaded yet" in rillbook("status")[1]
    assert rillbook("load", *BASE)[0] == 0


def test_a_fault_of_the_program_is_one_line_and_says_how_to_report_it(rillbook, book: Path, monkeypatch: pytest.MonkeyPatch) -> None:  # type: ignore[no-untyped-def]
    from pipeline.checking import check

    def broken(*_: object) -> None:
        raise ValueError("two\nlines")

    monkeypatch.setattr(check, "check", broken)
    one_line(rillbook("load", *BASE), "stumbled over ValueError: two.", "RILLBOOK_TRACEBACK=1")
    assert "Nothing is loaded yet" in rillbook("status")[1]
    monkeypatch.setenv("RILLBOOK_TRACEBACK", "1")
    monkeypatch.setattr(sys, "argv", ["rillbook", "load", *BASE])
    with pytest.raises(ValueError, match="two"):
        cli.main()


def test_the_help_loads_no_heavy_library() -> None:
    heavy = "duckdb", "pandas", "numpy", "folium", "pandera", "geopandas", "scipy", "jinja2", "rich.console"
    code = f"import sys; from pipeline import cli; print([one for one in {heavy!r} if one in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True).stdout.strip() == "[]"


def test_blend_gives_a_figure_or_says_why_not(rillbook) -> None:  # type: ignore[no-untyped-def]
    """Balance of mass: 60 = 250 f + 10 (1 - f), f = 50 / 240."""
    code, out, _ = rillbook("blend", "--target", 60, "--tap", 250, "--ro", 10, "--chlorine", 0, "--json")
    assert code == 0 and json.loads(out)["tap_fraction"] == pytest.approx(50 / 240)
    for words in (["--chlorine", "0.2"], [], ["--chlorine", "0", "--quantity", "pH"]):
        code, out, _ = rillbook("blend", "--target", 60, "--tap", 250, "--ro", 10, *words)
        assert code == 1 and out and "L of tap water" not in out


def test_compare_asks_for_populations_that_the_book_has(rillbook, book: Path) -> None:  # type: ignore[no-untyped-def]
    rillbook("load", *BASE)
    one_line(rillbook("compare", "here", "there", "--taxon", "GPOR"), "population 'here' has no readings")
