"""The door to pandera: where PySpark is installed pandera would load it too, which no table here needs.

That takes a third of a second at each command, and puts a warning on the error stream.
"""

from __future__ import annotations

import sys
from importlib import import_module

_kept_out = "pyspark" not in sys.modules
if _kept_out:
    # an import of it fails, as it does where it is not installed
    sys.modules["pyspark"] = None  # type: ignore[assignment]
try:
    import pandera.pandas as pa
    from pandera.engines import pandas_engine
    from pandera.typing import Series

    # these look for it when the first schema is built
    for _name in ("pandera.typing.pyspark", "pandera.typing.pyspark_sql"):
        import_module(_name)
finally:
    if _kept_out:
        del sys.modules["pyspark"]

__all__ = ["Series", "pa", "pandas_engine"]
