"""Two books of the same places: the coarser class holds for both."""

from __future__ import annotations

from pathlib import Path

import pytest

from pipeline.commands import run
from pipeline.errors import RillbookError
from pipeline.publishing.public_book import public_book
from pipeline.settings import read_settings

HEAD = '[book]\ntitle = "t"\nauthor = "a"\nlicence = "CC0-1.0"\ntime_zone = "UTC"\npublic_precision_deg = "0.1"\n'
TAXON = '[[taxon]]\ncode = "AA"\nscientific_name = "Genus aa"\ngroup = "cool_stream"\nsensitivity = "{}"\n'


def book(folder: Path, sensitivity: str, sites: str, more: str = "") -> Path:
    run.init(folder, HEAD + more + TAXON.format(sensitivity))
    names = [line.split(",")[0] for line in sites.splitlines()]
    texts = {
        "sites": "site_id,habitat,latitude,longitude,datum\n" + sites,
        "visits": "visit_id,site_id,visit_date,protocol\n" + "\n".join(f"V{name},{name},2024-06-01,transect" for name in names),
        "finds": "find_id,visit_id,taxon,life_stage,count,microhabitat\n"
        + "\n".join(f"F{name},V{name},AA,adult,1,wet_rock" for name in names),
    }
    paths = []
    for name, text in texts.items():
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text(text + "\n", encoding="utf-8")
    run.load_files(folder, paths)
    return folder


def steps(folder: Path) -> dict[str, str]:
    return {site: one.step for site, one in public_book(folder, read_settings(folder)).withheld.shown.items()}


def test_the_coarser_class_of_the_other_book_holds_at_the_same_place_and_nowhere_else(tmp_path: Path) -> None:
    book(tmp_path / "other", "1", "X,stream,36.2143,-81.9378,WGS84\nSAME,stream,30.0,-80.0,WGS84")
    # one 900 m away, one 1.1 km away, one of the same code far away
    sites = "NEAR,stream,36.2224,-81.9378,WGS84\nFAR,stream,36.2242,-81.9378,WGS84\nSAME,stream,35.0,-83.0,WGS84"
    alone = book(tmp_path / "alone", "0.1", sites)
    joint = book(tmp_path / "joint", "0.1", sites, 'published_with = ["../other"]\n')
    assert steps(alone) == {"NEAR": "0.1", "FAR": "0.1", "SAME": "0.1"}
    assert steps(joint) == {"NEAR": "1", "FAR": "0.1", "SAME": "1"}


@pytest.mark.parametrize(("others", "said"), [('["."]', "this book itself"), ('["../nowhere"]', "not a book|no book")])
def test_another_book_that_cannot_be_read_stops_the_publication(tmp_path: Path, others: str, said: str) -> None:
    own = book(tmp_path / "own", "0.1", "A,stream,36.2,-81.9,WGS84", f"published_with = {others}\n")
    with pytest.raises(RillbookError, match=said):
        public_book(own, read_settings(own))
