"""The served form: only its own page on this computer is answered, faults come back at their cells, and nothing typed is lost."""

from __future__ import annotations

import http.client
import http.server
import json
import os
import re
import signal
import socket
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from survey_rows import REPAIR, corrections, rows, survey

from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.intake import enter, request_guard
from pipeline.intake import typed_visit as entry
from pipeline.reading.survey_document import parse
from schemas.tables import fields

CASES = Path(__file__).parents[1] / "cases"
ROOT = Path(__file__).resolve().parents[2]
TRICK = "<img src=x onerror=\"document.title='y'\"><script>document.title='x'</script>${document.title='z'}"
PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>a form</title></head>
<body><img src="x" onerror="document.title='ran'"><p id="said"></p>
<script>document.getElementById('said').textContent = window.RILLBOOK.mode</script></body></html>"""
SERVE = """
    import sys, time
    from pipeline import cli
    from pipeline.book import loads
    from pipeline.intake import enter
    enter.form_of = lambda folder: {page!r}
    insert = loads.append_rows
    def slow(connection, name, frame, load_id):
        insert(connection, name, frame, load_id)
        if name == {after!r}:
            print("half-way", flush=True)
            time.sleep({seconds})
    loads.append_rows = slow
    sys.argv = ["rillbook", "enter", "--book", {folder!r}, *{words!r}]
    cli.main()
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    run.init(tmp_path / "b", (CASES / "base" / "rillbook.toml").read_text())
    return tmp_path / "b"


class Served:
    """A server in a process of its own, and how to ask it."""

    def __init__(self, folder: Path, *words: str, after: str = "", seconds: float = 0) -> None:
        code = SERVE.format(page=PAGE, folder=str(folder), words=words, after=after, seconds=seconds)
        self.process = subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(code)], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        self.said = self.process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)/\?token=(\S+)", self.said)
        assert found, self.process.communicate()
        self.port, self.token = int(found[1]), found[2]
        self.process.stdout.readline()
        self.origin = f"http://127.0.0.1:{self.port}"

    def headers(self) -> dict[str, str]:
        return {"Origin": self.origin, "X-Rillbook-Token": self.token, "Content-Type": "application/json"}

    def ask(self, method: str, path: str, body: Any = None, headers: dict[str, str] | None = None) -> tuple[int, dict[str, str], str]:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        if headers is None:
            headers = self.headers() if method == "POST" else {}
        connection.request(method, path, body, headers)
        answer = connection.getresponse()
        found = answer.status, {name.lower(): text for name, text in answer.getheaders()}, answer.read().decode()
        connection.close()
        return found

    def post(self, path: str, body: Any) -> dict[str, Any]:
        status, headers, text = self.ask("POST", path, json.dumps(body))
        assert status == 200 and headers["content-type"] == "application/json", text
        return json.loads(text)  # type: ignore[no-any-return]

    def load(self, document: Any, good_rows: bool = False) -> dict[str, Any]:
        return self.post("/load", {"document": document, "send_good_rows": good_rows})


@pytest.fixture
def serve(folder: Path) -> Iterator[Callable[..., Served]]:
    made: list[Served] = []

    def start(*words: str, **more: Any) -> Served:
        made.append(Served(folder, *words, **more))
        return made[-1]

    yield start
    for one in made:
        one.process.kill()
        one.process.communicate()


def kept(folder: Path) -> list[str]:
    return sorted(path.name for path in (folder / "surveys").iterdir()) if (folder / "surveys").exists() else []


def untouched(folder: Path) -> bool:
    return sorted(path.name for path in folder.iterdir()) == ["rillbook.toml"]


def faulty() -> dict[str, Any]:
    document = survey()
    document["finds"][0]["water_temp_c"] = "55.2"
    document["finds"][1]["taxon"] = "Xeno"
    return document


def test_the_page_is_told_that_it_is_served_and_is_kept_nowhere(serve: Callable[..., Served]) -> None:
    """Headers by their standards: RFC 9111 (no-store), Referrer Policy, Fetch (nosniff), Content Security Policy Level 3."""
    served = serve()
    status, headers, text = served.ask("GET", f"/?token={served.token}")
    assert status == 200 and f'window.RILLBOOK = {{"mode": "served", "token": "{served.token}"}}' in text
    assert text.index("window.RILLBOOK =") < text.index("window.RILLBOOK.mode")
    assert len(served.token) >= 43, "256 bits in base 64"
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert policy["connect-src"] == "'self'" and "unsafe" not in policy["script-src"] and policy["script-src"].count("'sha256-") == 2
    others = [served.ask("GET", "/"), served.ask("POST", "/check", "{}"), served.ask("POST", "/x", "{}")]
    for each in [headers, *(answer[1] for answer in others)]:
        assert each["cache-control"] == "no-store" and each["referrer-policy"] == "no-referrer"
        assert each["x-content-type-options"] == "nosniff" and each["x-frame-options"] == "DENY"
        assert "frame-ancestors 'none'" in each["content-security-policy"] and "server" not in each
        assert not [name for name in each if name.startswith("access-control")]


TANK_LOG: dict[str, Any] = {
    "format": "rillbook survey", "version": 1,
    "enclosures": [{"enclosure_id": "T1", "taxon": "GPOR", "life_stage": "larva", "medium": "water"}],
    "husbandry_events": [{"event_id": "log-1", "enclosure_id": "T1", "event_date": "2024-05-03", "event": "fed", "what": "worms"}],
    "water_tests": [{"test_id": "test-1", "enclosure_id": "T1", "tested_on": "2024-05-03", "nitrate_mg_l_n": "10 mg/L NO3"}],
}  # fmt: skip


def test_a_log_of_enclosures_goes_into_the_book_and_is_kept_as_a_file(folder: Path) -> None:
    document = as_sent(TANK_LOG)
    assert entry.check_document(folder, document)["clean"]
    answer = entry.load_document(folder, document, False)
    assert answer["loaded"] and "1 enclosure, 1 water test, 1 event" in answer["message"], answer
    assert kept(folder) == ["tank_log_2024-05-03_T1.json"]
    odd = as_sent({**TANK_LOG, "husbandry_events": [{**TANK_LOG["husbandry_events"][0], "event_id": "log-2", "enclosure_id": "T9"}]})
    answer = entry.load_document(folder, odd, False)
    assert not answer["loaded"] and [one["field"] for one in answer["problems"] if one["table"] == "husbandry_events"] == ["enclosure_id"]


def as_sent(document: dict[str, Any]) -> Any:
    """A document as the server reads it from the body of a request."""
    return parse(json.dumps(document), entry.WHERE)


REFUSED: dict[str, tuple[int, dict[str, str | None]]] = {
    "another host": (403, {"Host": "rill.example:{port}"}),
    "a name that was made to point here": (403, {"Host": "localhost:{port}", "Origin": "http://localhost:{port}"}),
    "another port in the host": (403, {"Host": "127.0.0.1:1"}),
    "no port in the host": (403, {"Host": "127.0.0.1"}),
    "another origin": (403, {"Origin": "http://rill.example"}),
    "an origin on another port": (403, {"Origin": "http://127.0.0.1:1"}),
    "another scheme": (403, {"Origin": "https://127.0.0.1:{port}"}),
    "an origin without a name": (403, {"Origin": "null"}),
    "no origin": (403, {"Origin": None}),
    "no token": (403, {"X-Rillbook-Token": None}),
    "an empty token": (403, {"X-Rillbook-Token": ""}),
    "a wrong token": (403, {"X-Rillbook-Token": "A" * 43}),
    "part of the token": (403, {"X-Rillbook-Token": "{token:.42}"}),
    "a token of other letters": (403, {"X-Rillbook-Token": "\u00e4\u00b2" * 20}),
    "a form's content": (415, {"Content-Type": "application/x-www-form-urlencoded"}),
    "plain text, which needs no leave of the browser": (415, {"Content-Type": "text/plain"}),
    "no content type": (415, {"Content-Type": None}),
    "another encoding": (415, {"Content-Type": "application/json; charset=utf-16"}),
}


@pytest.fixture(scope="module")
def standing(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Served, Path]]:
    folder = tmp_path_factory.mktemp("standing") / "b"
    run.init(folder, (CASES / "base" / "rillbook.toml").read_text())
    served = Served(folder)
    yield served, folder
    served.process.kill()
    served.process.communicate()


def test_the_log_of_the_enclosures_has_a_page_of_its_own(standing: tuple[Served, Path]) -> None:
    served, _ = standing
    status, headers, text = served.ask("GET", f"/tank?token={served.token}")
    assert status == 200 and "<h1>Log of the enclosures" in text and f'"token": "{served.token}"' in text
    assert "'unsafe-inline'" not in headers["content-security-policy"].split("script-src")[1].split(";")[0]
    assert served.ask("GET", "/tank")[0] == 403


@pytest.mark.parametrize("what", REFUSED)
@pytest.mark.parametrize("path", ["/check", "/load"])
def test_a_request_that_is_not_from_our_own_page_is_refused(standing: tuple[Served, Path], path: str, what: str) -> None:
    served, folder = standing
    expected, changes = REFUSED[what]
    headers = served.headers()
    for name, text in changes.items():
        headers.pop(name, None)
        if text is not None:
            headers[name] = text.format(port=served.port, token=served.token)
    status, _, text = served.ask("POST", path, json.dumps({"document": survey(), "send_good_rows": True}), headers)
    assert status == expected and set(json.loads(text)) == {"message"}, text
    assert served.token not in text and untouched(folder)


@pytest.mark.parametrize("change", [{"Host": "rill.example"}, {"Origin": "http://rill.example"}, {"Origin": "null"}])
def test_the_page_is_shown_to_nobody_else(standing: tuple[Served, Path], change: dict[str, str]) -> None:
    served, _ = standing
    assert served.ask("GET", f"/?token={served.token}", headers=change)[0] == 403


@pytest.mark.parametrize(
    "path",
    ["/", "/?token=", "/?token=x", "/?token={token}x", "/?token={token}&token={token}", "/?Token={token}", "/?token=%C3%A4", "/?token=%FF"],
)
def test_the_page_needs_the_token(standing: tuple[Served, Path], path: str) -> None:
    served, _ = standing
    status, _, text = served.ask("GET", path.format(token=served.token))
    assert status == 403 and "Open the address that `rillbook enter` printed last" in text and served.token not in text


@pytest.mark.parametrize("path", ["/../rillbook.toml", "/..%2frillbook.toml", "/%2e%2e/rillbook.toml", "/rillbook.duckdb", "/check/", "//"])
def test_no_other_path_leads_anywhere(standing: tuple[Served, Path], path: str) -> None:
    served, _ = standing
    for method, address in (("GET", f"{path}?token={served.token}"), ("POST", path)):
        status, _, text = served.ask(method, address, None if method == "GET" else "{}")
        assert status in (403, 404, 307) and "time_zone" not in text and "Traceback" not in text


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_no_other_method_is_answered(standing: tuple[Served, Path], method: str) -> None:
    served, folder = standing
    for headers in ({}, served.headers()):
        assert served.ask(method, f"/load?token={served.token}", None, headers)[0] in (403, 405)
    assert untouched(folder)


def test_a_body_of_a_hundred_million_bytes_is_not_read(standing: tuple[Served, Path]) -> None:
    served, folder = standing
    head = "".join(f"{name}: {text}\r\n" for name, text in served.headers().items())
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as raw:
        raw.sendall(f"POST /load HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n{head}Content-Length: 100000000\r\n\r\n".encode())
        assert raw.recv(4096).startswith(b"HTTP/1.1 413")
    sent, answer = 0, b""
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as raw:
        raw.sendall(f"POST /load HTTP/1.1\r\nHost: 127.0.0.1:{served.port}\r\n{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        part = b"%x\r\n" % 1_000_000 + b" " * 1_000_000 + b"\r\n"
        try:
            for _ in range(100):
                raw.sendall(part)
                sent += 1
        except OSError:
            pass
        else:
            answer = raw.recv(4096)
    assert sent * 1_000_000 < 4 * request_guard.LARGEST_BODY or answer.startswith(b"HTTP/1.1 413"), (
        "no length was stated, and all of it was read"
    )
    assert untouched(folder) and served.ask("GET", f"/?token={served.token}")[0] == 200


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "the file ends in the middle"), (b"{", "the file ends in the middle"), (b"\xff\xfe", "not UTF-8"), (b"[]", ""),
        (b'{"document": null}', "no survey document"), (b'{"document": {"format": "rillbook survey", "version": 1}}', "holds no rows"),
        (b"[" * 200_000, "nested too deeply"), (b'{"document": {}, "send_good_rows": "yes"}', "not as agreed"), (b"1e999", ""),
    ],
)  # fmt: skip
def test_a_body_that_is_no_survey_is_answered_in_words(standing: tuple[Served, Path], body: bytes, said: str) -> None:
    served, folder = standing
    status, _, text = served.ask("POST", "/load", body)
    answer = json.loads(text)
    assert status == 422 and answer["loaded"] is False and said in answer["message"] and "stumbled" not in answer["message"]
    status, _, text = served.ask("POST", "/check", body)
    assert status == 422 and json.loads(text)["clean"] is False and "stumbled" not in text and untouched(folder)


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="this system does not list its sockets under /proc")
def test_nothing_but_loopback_is_listened_on(standing: tuple[Served, Path]) -> None:
    served, _ = standing
    mine = {os.readlink(path) for path in Path(f"/proc/{served.process.pid}/fd").iterdir() if path.is_symlink()}
    listening = []
    for table in ("tcp", "tcp6", "udp", "udp6"):
        for line in Path(f"/proc/net/{table}").read_text().splitlines()[1:]:
            words = line.split()
            if f"socket:[{words[9]}]" in mine and words[3] == "0A":
                listening.append((table, words[1]))
    # proc(5): address in hexadecimal, bytes in the machine's order
    assert listening == [("tcp", f"{socket.htonl(0x7F000001):08X}:{served.port:04X}" if sys.byteorder == "little" else "")]


def test_check_says_what_the_command_says_each_at_its_cell(serve: Callable[..., Served], folder: Path) -> None:
    served, document = serve(), faulty()
    document["finds"] = [{}, *document["finds"]]
    document["visits"][0]["air_temp_c"] = "37"
    found = served.post("/check", document)
    places = [(one["table"], one["row"], one["field"], one["rule"], one["effect"], one["value"]) for one in found["problems"]]
    assert places == [
        ("finds", 1, "water_temp_c", "likely_fahrenheit", "hold_value", "55.2"),
        ("finds", 2, "taxon", "taxon_unknown", "hold_row", "Xeno"),
        ("visits", 0, "air_temp_c", "visit_air_water_gap", "flag", "37; 12.5"),
        ("visits", 0, "air_temp_c", "unexpected", "flag", "37"),
    ]
    assert found["clean"] is False and untouched(folder)
    path = folder.parent / "visit.json"
    path.write_text(json.dumps(document))
    command = [sys.executable, "-m", "pipeline", "check", str(path), "--book", str(folder), "--json"]
    said = json.loads(subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False).stdout)
    assert [(one["rule"], one["message"], one["remedy"]) for one in said["held"] + said["flags"]] == [
        (one["rule"], one["message"], one["remedy"]) for one in found["problems"]
    ]
    assert served.post("/check", survey()) == {"problems": [], "clean": True}


def test_a_flag_alone_is_clean_and_near_duplicates_name_each_other(serve: Callable[..., Served]) -> None:
    served, document = serve(), survey()
    twin = dict(document["finds"][1], find_id="F3", svl_mm="40.0")
    document["finds"] += [dict(document["finds"][0], find_id="F4", svl_mm="90", total_length_mm="150"), twin]
    found = served.post("/check", document)
    assert [(one["row"], one["rule"], one["effect"], one["with"]) for one in found["problems"]] == [
        (1, "near_duplicate", "flag", [3]),
        (3, "near_duplicate", "flag", [1]),
    ]
    assert found["clean"] is True and served.load(document)["loaded"] is True
    later = survey(sites=[], visits=[], availability=[], finds=[dict(twin, find_id="F9")])
    assert [(one["rule"], one["with"]) for one in served.post("/check", later)["problems"]] == [("near_duplicate", [])], (
        "its twins are in the book"
    )


def test_a_clean_visit_is_loaded_with_its_repairs_and_kept_as_a_file(serve: Callable[..., Served], folder: Path) -> None:
    served = serve()
    answer = served.load(survey(corrections=[REPAIR]))
    assert (answer["loaded"], answer["load"], answer["held"], answer["problems"]) == (True, 1, 0, [])
    assert answer["message"].startswith("Stored as load 1: 1 site, 2 visits, 2 finds, 1 point. What you typed is kept in ")
    assert rows(folder)["finds"]["find_id"].tolist() == ["F1", "F2"]
    assert corrections(folder)[0][4:7] == ("water_temp_c", "54.7", "12.6")
    (name,) = kept(folder)
    assert name == "visit_2023-06-10_V1.json" and json.loads((folder / "surveys" / name).read_text()) == survey(corrections=[REPAIR])
    again = served.load(survey(corrections=[REPAIR]))
    assert again["loaded"] is True and again["load"] is None and "loaded before, as load 1. Nothing was changed" in again["message"]
    assert kept(folder) == [name], "the very same document is kept once"
    assert run.load_files(folder, [folder / "surveys" / name]).load_id is None


def test_what_would_be_held_stops_the_load_until_the_person_decides(serve: Callable[..., Served], folder: Path) -> None:
    served = serve()
    answer = served.load(faulty())
    assert (answer["loaded"], answer["load"], answer["held"]) == (False, None, 2) and len(answer["problems"]) == 2
    assert "Not loaded: 2 would be held back" in answer["message"] and kept(folder) == [] and run.status(folder)["loads"] == []
    answer = served.load(faulty(), good_rows=True)
    assert (answer["loaded"], answer["load"], answer["held"]) == (True, 1, 2)
    assert "2 held back: `rillbook held` lists them" in answer["message"]
    assert run.held_items(folder)["text"].tolist() == ["55.2", "Xeno"] and kept(folder) == ["visit_2023-06-10_V1.json"]


def test_the_same_visit_again_says_what_would_change_and_is_kept(serve: Callable[..., Served], folder: Path) -> None:
    served, document = serve(), survey()
    served.load(document)
    document["finds"][0]["water_temp_c"] = "12.9"
    del document["finds"][1]
    (problem,) = served.post("/check", document)["problems"]
    assert (problem["table"], problem["row"], problem["field"], problem["rule"]) == ("visits", 0, "visit_id", "in_book")
    for answer in (served.load(document), served.load(document, good_rows=True)):
        assert answer["loaded"] is False and answer["problems"] == [problem]
        for part in ("find F1: water_temp_c 12.6 → 12.9", "find F2 would vanish", "give it a code of its own", "Nothing was changed"):
            assert part in answer["message"]
    command = re.search(r"`rillbook (.*?)`", answer["message"])
    assert command and command[1].endswith("--replace")
    assert rows(folder)["finds"]["water_temp_c"].tolist() == [12.6, 12.5]
    done = subprocess.run([sys.executable, "-m", "pipeline", *command[1].split()], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert rows(folder)["finds"]["water_temp_c"].tolist() == [12.9]


def test_markup_in_every_text_field_comes_back_as_text(serve: Callable[..., Served], folder: Path) -> None:
    served, document = serve(), survey()
    for table, listed in (("sites", document["sites"]), ("visits", document["visits"]), ("finds", document["finds"])):
        for name, declared in fields(table).items():
            if declared.kind == "text" and not (declared.required or declared.refers_to or declared.key or name == "study_area"):
                for row in listed:
                    row[name] = TRICK
    document["finds"][0]["sex"] = TRICK
    status, headers, text = served.ask("POST", "/check", json.dumps(document))
    assert status == 200 and headers["content-type"] == "application/json" and headers["x-content-type-options"] == "nosniff"
    assert [one["value"] for one in json.loads(text)["problems"] if one["rule"] == "code_unknown"] == [TRICK]
    assert served.load(document, good_rows=True)["loaded"] is True
    assert set(rows(folder)["finds"]["remarks"]) == {TRICK} == set(rows(folder)["visits"]["observers"])


def test_hostile_codes_make_harmless_file_names(folder: Path) -> None:
    for code in ("../../x", "..\\x", "a/b", "\u202e", "NUL", " ", "x" * 500, TRICK, "-"):
        path, is_new = entry.keep(folder, survey(visits=[dict(survey()["visits"][0], visit_id=code)]))
        assert is_new and path.parent == folder / "surveys" and re.fullmatch(r"visit_2023-06-10[A-Za-z0-9_-]*\.json", path.name), path.name
        assert json.loads(path.read_text(encoding="utf-8"))["visits"][0]["visit_id"] == code
    assert len(kept(folder)) == 9


HOLDS = "import duckdb, time, sys; c = duckdb.connect(sys.argv[1]); print('open', flush=True); time.sleep(60)"


def test_a_book_that_is_open_elsewhere_loses_nothing(serve: Callable[..., Served], folder: Path) -> None:
    run.load_files(folder, [CASES / "base" / "sites.csv"])
    served = serve()
    other = subprocess.Popen([sys.executable, "-c", HOLDS, str(folder / "rillbook.duckdb")], stdout=subprocess.PIPE, text=True)
    try:
        assert other.stdout is not None and other.stdout.readline() == "open\n"
        status, _, text = served.ask("POST", "/check", json.dumps(survey()))
        assert status == 422 and "the book is open in another program. Close it there and try again" in text
        answer = served.load(survey())
        assert (
            answer["loaded"] is False
            and "open in another program" in answer["message"]
            and "What you typed is kept in" in answer["message"]
        )
        assert kept(folder) == ["visit_2023-06-10_V1.json"]
    finally:
        other.kill()
        other.communicate()
    assert served.load(survey())["load"] == 2 and kept(folder) == ["visit_2023-06-10_V1.json"]


def test_a_full_disk_loses_nothing(serve: Callable[..., Served], folder: Path) -> None:
    """A limit on the size of files stands for the full disk, as in test_book: every write past it fails."""
    resource = pytest.importorskip("resource")
    if not hasattr(resource, "prlimit"):
        pytest.skip("this system cannot limit another process")
    run.load_files(folder, [CASES / "base" / "sites.csv"])
    served, size = serve(), (folder / "rillbook.duckdb").stat().st_size
    document = survey()
    document["finds"] += [
        dict(document["finds"][0], find_id=f"X{number}", remarks=f"{number * 7919 % 10007:06d}" * 9) for number in range(4000)
    ]
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (size + 4096, resource.RLIM_INFINITY))
    answer = served.load(document, good_rows=True)
    first = answer["message"]
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (0, resource.RLIM_INFINITY))
    status, _, text = served.ask("POST", "/load", json.dumps({"document": survey(), "send_good_rows": True}))
    assert status == 422 and "what you typed could not be kept" in text and "Leave the page open" in text
    resource.prlimit(served.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    assert (
        answer["loaded"] is False
        and "Nothing was changed" in first
        and "Is the disk full?" in first
        and "What you typed is kept in" in first
    )
    assert len(run.status(folder)["loads"]) == 1 and not list(folder.glob("surveys/*.part"))
    assert served.load(document, good_rows=True)["loaded"] is True
    assert len(rows(folder)["finds"]) == 4002 and kept(folder) == ["visit_2023-06-10_V1.json"]


def ask_and_leave(served: Served, document: dict[str, Any]) -> threading.Thread:
    """Send a load from a thread of its own, and do not mind if the answer never comes."""

    def send() -> None:
        try:
            answers.append(served.load(document))
        except (OSError, http.client.HTTPException):
            answers.append(None)

    answers: list[Any] = []
    thread = threading.Thread(target=send)
    thread.answers = answers  # type: ignore[attr-defined]
    thread.start()
    return thread


def test_a_kill_half_way_leaves_the_book_as_it_was_and_the_survey_as_a_file(serve: Callable[..., Served], folder: Path) -> None:
    run.load_files(folder, [CASES / "base" / "sites.csv"])
    served = serve(after="finds_all", seconds=60)
    thread = ask_and_leave(served, survey())
    assert served.process.stdout is not None and served.process.stdout.readline() == "half-way\n"
    served.process.send_signal(signal.SIGKILL)
    assert served.process.wait(30) == -signal.SIGKILL
    thread.join(30)
    assert len(run.status(folder)["loads"]) == 1 and rows(folder)["finds"].empty
    (name,) = kept(folder)
    assert run.load_files(folder, [folder / "surveys" / name]).load_id == 2
    assert len(rows(folder)["finds"]) == 2


def test_ctrl_c_finishes_what_is_under_way_and_ends_in_silence(serve: Callable[..., Served], folder: Path) -> None:
    served = serve(after="finds_all", seconds=2)
    with socket.create_connection(("127.0.0.1", served.port)):
        thread = ask_and_leave(served, survey())
        assert served.process.stdout is not None and served.process.stdout.readline() == "half-way\n"
        served.process.send_signal(signal.SIGINT)
        out, err = served.process.communicate(timeout=30)
        thread.join(30)
    assert served.process.returncode == 0 and err == "" and out.startswith("Ended.") and out.count("\n") == 1
    assert thread.answers[0]["load"] == 1 and len(rows(folder)["finds"]) == 2  # type: ignore[attr-defined]


def test_ctrl_c_while_nothing_happens(serve: Callable[..., Served]) -> None:
    served = serve()
    served.process.send_signal(signal.SIGINT)
    out, err = served.process.communicate(timeout=30)
    assert served.process.returncode == 0 and out.startswith("Ended.") and err == ""


def test_loads_at_the_same_time_take_turns(serve: Callable[..., Served], folder: Path) -> None:
    served = serve()
    documents = []
    for number in range(4):
        visit = dict(survey()["visits"][0], visit_id=f"W{number}", visit_date=f"2023-07-0{number + 1}")
        documents.append(
            survey(visits=[visit], finds=[dict(survey()["finds"][0], find_id=f"G{number}", visit_id=f"W{number}")], availability=[])
        )
    threads = [ask_and_leave(served, document) for document in documents]
    for thread in threads:
        thread.join(60)
    assert sorted(thread.answers[0]["load"] for thread in threads) == [1, 2, 3, 4]  # type: ignore[attr-defined]
    assert len(rows(folder)["finds"]) == 4


def test_the_port_stays_with_the_book_so_that_a_draft_is_found_again(serve: Callable[..., Served], folder: Path) -> None:
    first = serve()
    second = serve()
    assert second.port != first.port and second.token != first.token, "taken: another one that is free"
    first.process.send_signal(signal.SIGINT)
    first.process.communicate(timeout=30)
    assert serve().port == first.port
    with pytest.raises(RillbookError, match=rf"port {second.port} cannot be used.*Choose another with --port"):
        enter.listen(folder, second.port)


def test_a_folder_that_is_no_book_is_named(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "pipeline", "enter", "--book", str(tmp_path)], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2 and "is not a book" in done.stderr and done.stdout == ""


def test_a_page_that_cannot_be_made_says_why(folder: Path) -> None:
    (folder / "rillbook.duckdb").write_text("a letter, and no database " * 1000)
    with pytest.raises(RillbookError, match="it is no book, or its first pages are gone"):
        entry.check_document(folder, survey(version="1"))
    with pytest.raises(RillbookError, match="the form has no head"):
        request_guard.with_token("<body></body>", "T")


class _Elsewhere(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(200)
        self.send_header("Content-Type", "text/html")
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>elsewhere</title><body></body>")

    def log_message(self, *words: Any) -> None:
        """Be silent."""


@pytest.mark.browser
def test_a_browser_runs_the_pages_own_scripts_only_and_keeps_other_pages_out(
    serve: Callable[..., Served], folder: Path, browser: Any
) -> None:
    """The oracle is Chromium's own handling of the policies and of requests between origins."""
    served = serve()
    elsewhere = http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Elsewhere)
    threading.Thread(target=elsewhere.serve_forever, daemon=True).start()
    send = """async ([url, token, type, mode]) => {
        const headers = {'Content-Type': type};
        if (token) headers['X-Rillbook-Token'] = token;
        try { const r = await fetch(url, {method: 'POST', mode, headers, body: JSON.stringify(window.what)}); return r.status }
        catch (problem) { return 'blocked' }
    }"""
    try:
        context = browser.new_context()
        page = context.new_page()
        page.goto(f"{served.origin}/?token={served.token}")
        assert page.inner_text("#said") == "served"
        page.wait_for_timeout(300)
        assert page.title() == "a form", "a script in an attribute ran"
        page.evaluate("document => { window.what = {document, send_good_rows: false} }", faulty())
        assert page.evaluate(send, ["/load", served.token, "application/json", "same-origin"]) == 200
        other = context.new_page()
        other.goto(f"http://127.0.0.1:{elsewhere.server_port}/")
        other.evaluate("document => { window.what = {document, send_good_rows: true} }", survey())
        for token, kind, mode in (
            (served.token, "application/json", "cors"),
            ("", "text/plain", "cors"),
            ("", "text/plain", "no-cors"),
        ):
            assert other.evaluate(send, [f"{served.origin}/load", token, kind, mode]) in ("blocked", 0)
        other.evaluate(
            "url => { const frame = document.createElement('iframe'); frame.src = url; document.body.append(frame) }",
            f"{served.origin}/?token={served.token}",
        )
        other.wait_for_timeout(500)
        assert all("served" not in (frame.evaluate("document.body?.innerText ?? ''")) for frame in other.frames[1:])
        context.close()
    finally:
        elsewhere.shutdown()
        elsewhere.server_close()
    assert untouched(folder) or (kept(folder) == [] and run.status(folder)["loads"] == [])
