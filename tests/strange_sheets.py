# ruff: noqa: E501
"""An invented strange sheet, wide, in nobody's headings, for the tests of the first map."""

from __future__ import annotations

import numpy as np
import pandas as pd

from pipeline.reading.rows import SourceTable

WIDE = """\
Creek,Stn,Survey Day,Began,T water (F),Air,pH,Cond.,Lat_dd,Lon_dd,Rocks turned,Dusky larvae,Dusky adults,Two-lined larvae,Total,Who,Fish seen
Pebble Run,1,6/14/23,1:20 PM,52.1,69.5,6.8,67,40.10011,-80.20022,28,0,,1,1,AB,Y
Pebble Run,1,7/3/23,9:15 AM,53.0,69.4,6.7,83,40.10011,-80.20022,90,2,1,0,3,AB,N
Pebble Run,2,6/14/23,2:20 PM,59.9,78.4,6.8,55,40.10533,-80.20644,76,1,0,1,2,AB,Y
Pebble Run,2,8/21/23,1:05 PM,58.4,78.1,6.9,73,40.10533,-80.20644,23,0,0,0,0,CD,N
Hollow Branch,1,6/14/23,9:15 AM,59.9,64.2,7.0,83,40.30755,-80.10866,54,0,0,1,1,CD,N
Hollow Branch,1,7/3/23,9:45 AM,55.8,61.3,6.8,87,40.30755,-80.10866,39,NA,0,2,2,AB,Y
"""
SETTINGS = """
[book]
time_zone = "America/New_York"
[[taxon]]
code = "DFUS"
scientific_name = "Desmognathus fuscus"
group = "cool_stream"
aliases = "Dusky"
[[taxon]]
code = "EBIS"
scientific_name = "Eurycea bislineata"
group = "cool_stream"
aliases = "Two-lined"
"""
TAXA = {"dfus": "DFUS", "dusky": "DFUS", "ebis": "EBIS", "two-lined": "EBIS"}


def sheet(text: str, file: str = "strange.csv") -> SourceTable:
    """A sheet from its text; no cell may hold a comma."""
    header, *body = [line.split(",") for line in text.strip("\n").split("\n")]
    cells = pd.DataFrame(body, columns=header, dtype="str")
    return SourceTable(file, "", cells, np.arange(2, len(body) + 2), "0" * 64, {}, 0)
