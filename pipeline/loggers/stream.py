"""A logger's file as a stream of UTF-8 bytes from which lines are taken, many at once or one by one."""

from __future__ import annotations

import codecs
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import BinaryIO

import numpy as np

from pipeline.loggers.text import SIGNS_1252, WINDOWS

LINE_END = 10
# Bytes read at once
PART = 1 << 17


@dataclass
class Stream:
    """A file that is open, what was read of it and not taken yet, and where in that its lines end."""

    file: BinaryIO
    recoded: Callable[[bytes, bool], bytes]
    held: bytes = b""
    at: int = 0
    ends: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype="int64"))
    over: bool = False


@contextmanager
def opened(path: Path, encoding: str) -> Iterator[Stream]:
    """Open a file whose encoding is known."""
    with path.open("rb") as file:
        if encoding == "utf-8-sig":
            file.seek(len(codecs.BOM_UTF8))
        yield Stream(file, _recoding(encoding))


def _recoding(encoding: str) -> Callable[[bytes, bool], bytes]:
    """What makes bytes of the file UTF-8."""
    if encoding.startswith("utf-8"):
        return lambda some, last: some
    if encoding == WINDOWS:
        return lambda some, last: some.decode("latin-1").translate(SIGNS_1252).encode()
    decoder = codecs.getincrementaldecoder(encoding)()
    return lambda some, last: decoder.decode(some, last).encode()


def _more(stream: Stream) -> bool:
    """Read on; False at the end of the file."""
    if stream.over:
        return False
    _pass_by(stream)
    rest = stream.held[stream.at :]
    # as much again, so that a line without an end is not copied for each part of it
    raw = stream.file.read(max(PART, len(rest)))
    stream.over = not raw
    some = stream.recoded(raw, not raw)
    # a sign is only once looked at
    ends = np.concatenate([stream.ends - stream.at, np.flatnonzero(np.frombuffer(some, "uint8") == LINE_END) + len(rest)])
    stream.held, stream.at, stream.ends = rest + some, 0, ends
    return True


def take(stream: Stream, lines: int) -> bytes:
    """The next lines with their ends; fewer at the end of the file, and none after it. Only a line feed ends a line."""
    _pass_by(stream)
    while len(stream.ends) < lines and _more(stream):
        pass
    end = int(stream.ends[lines - 1]) + 1 if len(stream.ends) >= lines else len(stream.held)
    some, stream.at = stream.held[stream.at : end], end
    return some


def put_back(stream: Stream, some: bytes) -> None:
    """Have the last lines that were taken not taken."""
    stream.at -= len(some)
    stream.ends = np.flatnonzero(np.frombuffer(stream.held, "uint8", offset=stream.at) == LINE_END) + stream.at


def one_by_one(stream: Stream) -> Iterator[str]:
    """The lines from here on as Python's reader of text cuts them; only those that were asked for are taken."""
    while True:
        lines = stream.held[stream.at :].splitlines(keepends=True)
        # the last line may go on, and a carriage return at the very end may be half of an end
        sure = lines if stream.over else lines[:-1]
        for line in sure:
            stream.at += len(line)
            yield line.decode()
        if not sure and not _more(stream):
            return


def _pass_by(stream: Stream) -> None:
    """Let go of the ends of lines that were taken."""
    stream.ends = stream.ends[np.searchsorted(stream.ends, stream.at) :]
