"""Photos: time and place are read as Exif 2.32 (CIPA DC-008) says, offered for finds, and go nowhere else."""

from __future__ import annotations

import ast
from datetime import date
from fractions import Fraction
from pathlib import Path

import pandas as pd
import pytest
from typer.testing import CliRunner

from pipeline.cli import app
from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.reading import photos

CASES = Path(__file__).parents[1] / "cases"
ZONE = "America/New_York"


def take(path: Path, taken: str = "", offset: str = "", place: tuple[object, ...] = (), accuracy: object = None) -> Path:
    """A small picture with the tags of a camera: place is latitude, its letter, longitude, its letter."""
    from PIL import Image
    from PIL.TiffImagePlugin import IFDRational

    tags = Image.Exif()
    camera, receiver = {}, {}
    if taken:
        camera[photos.TAKEN_AT] = taken
    if offset:
        camera[photos.OFFSET] = offset
    if place:
        for tag, value in zip((photos.LATITUDE, photos.NORTH, photos.LONGITUDE, photos.EAST), place, strict=True):
            receiver[tag] = value if isinstance(value, str) else tuple(IFDRational(Fraction(str(part))) for part in value)  # type: ignore[attr-defined]
    if accuracy is not None:
        receiver[photos.ERROR_M] = IFDRational(Fraction(str(accuracy)))
    tags._ifds = {photos.CAMERA: camera, photos.RECEIVER: receiver}
    tags[photos.CAMERA], tags[photos.RECEIVER] = camera, receiver
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.new("RGB", (8, 8)).save(path, exif=tags)
    return path


def read(folder: Path) -> pd.DataFrame:
    return photos.read_photos(folder, ZONE).set_index("photo")


def test_time_and_place(tmp_path: Path) -> None:
    take(tmp_path / "a.jpg", "2024:05:31 21:40:10", "", ((36, 12, 15), "N", (81, 54, "9.6"), "W"), 4.5)
    take(tmp_path / "sub/b.JPG", "2024:05:31 21:40:10", "-07:00", ((36, 12, 15), "S", (81, 54, "9.6"), "E"))
    found = read(tmp_path)
    # 36 + 12/60 + 15/3600 and 81 + 54/60 + 9.6/3600, by hand; New York is four hours behind UTC in May
    assert found.loc["a.jpg", ["latitude", "longitude", "accuracy_m"]].tolist() == pytest.approx([36.2041667, -81.9026667, 4.5])
    assert found.at["a.jpg", "taken_utc"] == pd.Timestamp("2024-06-01 01:40:10") and found.at["a.jpg", "said"] == ""
    # the camera's own offset outranks the book's zone
    assert found.at["sub/b.JPG", "taken_utc"] == pd.Timestamp("2024-06-01 04:40:10")
    assert found.loc["sub/b.JPG", ["latitude", "longitude"]].tolist() == pytest.approx([-36.2041667, 81.9026667])


@pytest.mark.parametrize(
    "place",
    [
        ((36, 12, 15), "N", (81, 54, 9), ""),
        ((36, 12, 15), "W", (81, 54, 9), "W"),
        ((96, 12, 15), "N", (81, 54, 9), "W"),
        ((36, 72, 15), "N", (81, 54, 9), "W"),
        ((36, 12), "N", (81, 54, 9), "W"),
        ((0, 0, 0), "N", (0, 0, 0), "W"),
    ],
)
def test_half_a_place_is_none(place: tuple[object, ...], tmp_path: Path) -> None:
    take(tmp_path / "a.jpg", "2024:05:31 21:40:10", "", place)
    found = read(tmp_path).loc["a.jpg"]
    assert pd.isna(found["latitude"]) and pd.isna(found["longitude"]) and found["said"] == "no place"


@pytest.mark.parametrize(
    ("taken", "said"),
    [
        ("", "no time, no place"),
        ("2024:13:31 21:40:10", "cannot be read"),
        ("2024:02:30 21:40:10", "cannot be read"),
        ("    :  :     :  :  ", "cannot be read"),
        ("0000:00:00 00:00:00", "cannot be read"),
    ],
)
def test_a_clock_that_was_never_set(taken: str, said: str, tmp_path: Path) -> None:
    take(tmp_path / "a.jpg", taken)
    found = read(tmp_path).loc["a.jpg"]
    assert pd.isna(found["taken_utc"]) and said in found["said"]


def test_what_is_no_photo_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"not a picture")
    (tmp_path / "b.png").write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00")
    (tmp_path / "c.txt").write_text("notes")
    found = read(tmp_path)
    assert found["said"].tolist() == ["cannot be read as a photo"] * 2
    with pytest.raises(RillbookError, match="no such folder"):
        photos.read_photos(tmp_path / "nowhere", ZONE)
    (tmp_path / "empty").mkdir()
    with pytest.raises(RillbookError, match="holds no photo"):
        photos.read_photos(tmp_path / "empty", ZONE)


FINDS = pd.DataFrame({
    "find_id": ["F1", "F2", "F3", "F4"], "visit_id": ["V"] * 4, "photo": [None, "IMG_7.jpg; img_8.JPG", None, None],
    "found_utc": pd.to_datetime(["2024-06-01 01:40", "2024-06-01 03:00", "2024-06-01 01:43", None]),
})  # fmt: skip


def offered(folder: Path) -> list[tuple[str, str, str]]:
    offers = photos.offer_photos(photos.read_photos(folder, ZONE), FINDS)
    return list(offers[["photo", "find_id", "offered"]].itertuples(index=False, name=None))


def test_offers_by_name_then_by_time(tmp_path: Path) -> None:
    take(tmp_path / "IMG_8.jpg", "2024:05:31 21:40:00")
    take(tmp_path / "near.jpg", "2024:05:31 21:41:00")
    take(tmp_path / "far.jpg", "2024:05:31 21:49:00")
    take(tmp_path / "timeless.jpg")
    assert offered(tmp_path) == [
        ("IMG_8.jpg", "F2", "its name is noted at the find"),
        ("far.jpg", "", ""),
        ("near.jpg", "F1", "1.0 min from the time of the find"),
        ("near.jpg", "F3", "2.0 min from the time of the find"),
        ("timeless.jpg", "", ""),
    ]


def test_the_list_is_private_and_the_book_and_the_photos_stay_as_they_are(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    run.init(folder, (CASES / "base" / "rillbook.toml").read_text(encoding="utf-8"))
    run.load_files(folder, sorted((CASES / "base").glob("*.csv")), today=date(2026, 1, 1))
    # find F1 of the base book: 2023-06-10 at 20:20
    photo = take(tmp_path / "pictures/=1.jpg", "2023:06:10 20:22:00", "", ((36, 12, 15), "N", (81, 54, 9), "W"))
    before = photo.read_bytes(), run.status(folder)
    result = CliRunner().invoke(app, ["photos", str(tmp_path / "pictures"), "--book", str(folder)])
    assert result.exit_code == 0 and "1 photos, 1 with a place, 1 that may show a find" in result.output
    assert [path.relative_to(folder).as_posix() for path in folder.rglob("*.csv")] == ["out/private/photos.csv"]
    rows = pd.read_csv(folder / "out/private/photos.csv", dtype=str, encoding="utf-8-sig")
    assert rows["find_id"].tolist() == ["F1"] and rows["photo"].tolist() == ["'=1.jpg"]
    assert (photo.read_bytes(), run.status(folder)) == before


def test_no_page_and_no_map_reads_photos() -> None:
    """What a photo says of its place reaches the private list alone: only `places_and_photos` takes anything from the module."""
    users = set()
    for path in Path(photos.__file__).parents[1].rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            named = [alias.name for alias in node.names] if isinstance(node, ast.ImportFrom | ast.Import) else []
            module = node.module if isinstance(node, ast.ImportFrom) else ""
            if module == "pipeline.reading.photos" or "photos" in named or "pipeline.reading.photos" in named:
                users.add(path.stem)
    assert users == {"places_and_photos"}
