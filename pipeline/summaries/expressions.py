"""The reduction of logger readings, written once: expressions that each engine is told in its own SQL (method §6, §10). The door to ibis.

Nothing runs here. All moments are whole microseconds since 1970 in UTC (``_us``), which every engine counts in the same way; days are
local, and stand for their midnight as if the local clock were UTC. A mean or a sum may differ between engines in its last digits alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

HOUR_US, DAY_US = 3_600_000_000, 86_400_000_000
NOON_US = DAY_US // 2
# a hundred years: what is left after a division is then the same in all engines, for dates before 1970 too
EARLIEST_US = -36_525 * DAY_US
READINGS = {"logger_id": "string", "at_us": "int64", "temp_c": "float64"}
SERIES = {"logger_id": "string", "first_us": "int64", "last_us": "int64", "least_step_us": "int64", "step_us": "float64"}
STRETCHES = {"logger_id": "string", "from_us": "int64", "to_us": "int64"}
SUNS = {"logger_id": "string", "day_us": "int64", "rise_us": "int64", "set_us": "int64"}
FATES = ("no_logger", "no_moment", "no_value", "not_possible", "possible")


def table(name: str, kinds: dict[str, str]) -> Any:
    """A table that an engine knows by a name: ``READINGS``, ``SERIES``, ``STRETCHES`` or ``SUNS`` say its columns."""
    import ibis

    return ibis.table(kinds, name=name)


def sql_of(expression: Any, dialect: str) -> str:
    """Say an expression in the SQL of an engine: ``duckdb``, ``pyspark`` or ``postgres``, as ibis names them."""
    import ibis
    from ibis.config import Config

    class Spark(Config):
        treat_nan_as_null: bool = False

    # ibis sets this only once its own connection to Spark is loaded, which asks for libraries that nothing here needs
    if ibis.options.pyspark is None:
        ibis.options.pyspark = Spark()
    return str(ibis.to_sql(expression, dialect=dialect))


def tally(readings: Any, low_c: float, high_c: float) -> Any:
    """Count what becomes of the readings.

    Parameters
    ----------
    readings : ibis Table
        ``READINGS``.
    low_c, high_c : float
        Span of what is possible, °C.

    Returns
    -------
    ibis Table
        ``fate``, one of ``FATES``, the first that fits, and ``n``. A value that is no number (NaN) is none.
    """
    import ibis

    fate = ibis.cases(
        (readings.logger_id.isnull() | (readings.logger_id == ""), FATES[0]),
        (readings.at_us.isnull() | (readings.at_us < EARLIEST_US), FATES[1]),
        (readings.temp_c.isnull() | readings.temp_c.isnan(), FATES[2]),
        ((readings.temp_c < low_c) | (readings.temp_c > high_c), FATES[3]),
        else_=FATES[4],
    )
    return readings.select(fate=fate).group_by("fate").agg(n=ibis._.count())


def counted(readings: Any, stretches: Any | None, low_c: float, high_c: float) -> Any:
    """Readings that count: possible ones, less those in a stretch that is in doubt, both its ends included.

    Parameters
    ----------
    readings, low_c, high_c
        As :func:`tally`.
    stretches : ibis Table or None
        ``STRETCHES``; None where there are none.

    Returns
    -------
    ibis Table
        ``READINGS``.
    """
    possible = readings.filter(
        readings.logger_id != "", readings.at_us >= EARLIEST_US, ~readings.temp_c.isnan(), readings.temp_c.between(low_c, high_c)
    )
    if stretches is None:
        return possible
    same = possible.logger_id == stretches.logger_id
    return possible.anti_join(stretches, [same, possible.at_us >= stretches.from_us, possible.at_us <= stretches.to_us])


def series(readings: Any) -> Any:
    """Each logger's first and last reading and its steps.

    Parameters
    ----------
    readings : ibis Table
        As :func:`counted`.

    Returns
    -------
    ibis Table
        ``SERIES`` and ``n``: ``step_us`` is the usual step, the median; ``least_step_us`` is 0 where two readings have one moment. Both are
        missing with one reading.
    """
    import ibis

    steps = readings.mutate(step_us=readings.at_us - readings.at_us.lag().over(_in_order()))
    return steps.group_by("logger_id").agg(
        first_us=steps.at_us.min(),
        last_us=steps.at_us.max(),
        least_step_us=steps.step_us.min(),
        step_us=steps.step_us.median().cast("float64"),
        n=ibis._.count(),
    )


def hourly(readings: Any) -> Any:
    """Summary of each hour of UTC, which comes once where clocks change: ``logger_id``, ``hour_us`` (its start) and :func:`_summary`."""
    placed = readings.mutate(hour_us=readings.at_us - _since(readings.at_us, HOUR_US))
    return placed.group_by(["logger_id", "hour_us"]).agg(**_summary(placed))


def daily(readings: Any, of_series: Any, offsets: Sequence[tuple[int, int]]) -> Any:
    """Summary of each local day.

    Parameters
    ----------
    readings : ibis Table
        As :func:`counted`.
    of_series : ibis Table
        ``SERIES``.
    offsets : sequence of (int, int)
        Offset of the local clock from UTC: from which moment on, and how much; µs. The first holds before as well.

    Returns
    -------
    ibis Table
        ``logger_id``, ``day_us``, the summary as :func:`hourly`, and ``step_s``, the logger's usual step (s).
    """
    placed = readings.mutate(local_us=_local(readings.at_us, offsets))
    placed = placed.mutate(day_us=placed.local_us - _since(placed.local_us, DAY_US))
    return _with_step(placed.group_by(["logger_id", "day_us"]).agg(**_summary(placed)), of_series)


def excursions(readings: Any, of_series: Any, line_c: float, gap_steps: float) -> Any:
    """Unbroken stretches above a line, from crossing to crossing, as `formulas.exceedances.excursions` defines them; a gap ends one.

    Parameters
    ----------
    readings, of_series
        As :func:`daily`.
    line_c : float
        The line, °C; exactly at it is not above it.
    gap_steps : float
        A gap of more usual steps than this is not bridged.

    Returns
    -------
    ibis Table
        ``logger_id``, ``line_c``, ``start_us``, ``end_us``, ``hours``, ``highest_c``.
    """
    import ibis

    ahead = readings.mutate(b_us=readings.at_us.lead().over(_in_order()), b_c=readings.temp_c.lead().over(_in_order()))
    usual = of_series.select("logger_id", "step_us")
    steps = ahead.join(usual, "logger_id").select("logger_id", "at_us", "temp_c", "b_us", "b_c", "step_us")
    length = steps.b_us - steps.at_us
    # a clock that counts milliseconds must not make a gap of a step
    near = length.cast("float64") <= steps.step_us * (gap_steps * (1 + 1e-9))
    over = steps.filter(steps.b_us.notnull(), near, (steps.temp_c > line_c) | (steps.b_c > line_c))
    long = (over.b_us - over.at_us).cast("float64")
    crossing = (line_c - over.temp_c) / (over.b_c - over.temp_c)
    ends = over.mutate(
        long=long,
        enters=ibis.ifelse(over.temp_c >= line_c, ibis.literal(0.0), crossing),
        leaves=ibis.ifelse(over.b_c >= line_c, ibis.literal(1.0), crossing),
        high=ibis.greatest(over.temp_c, over.b_c),
    )
    crossed = ends.select(
        "logger_id",
        "high",
        start_us=ends.at_us + _whole(ends.enters * ends.long),
        end_us=ends.at_us + _whole(ends.leaves * ends.long),
        over_us=(ends.leaves - ends.enters) * ends.long,
    )
    # a crossing that rounds to the reading itself is no stretch of time
    crossed = crossed.filter(crossed.over_us > 0)
    order = ibis.window(group_by="logger_id", order_by=["start_us", "end_us"])
    apart = crossed.mutate(before_us=crossed.end_us.lag().over(order))
    apart = apart.mutate(new=ibis.ifelse(apart.before_us.isnull() | (apart.start_us > apart.before_us), 1, 0).cast("int64"))
    so_far = ibis.window(group_by="logger_id", order_by=["start_us", "end_us"], preceding=None, following=0)
    numbered = apart.mutate(number=apart.new.sum().over(so_far))
    found = numbered.group_by(["logger_id", "number"]).agg(
        start_us=numbered.start_us.min(),
        end_us=numbered.end_us.max(),
        hours=numbered.over_us.sum() / HOUR_US,
        highest_c=numbered.high.max(),
    )
    return found.select("logger_id", ibis.literal(float(line_c)).name("line_c"), "start_us", "end_us", "hours", "highest_c")


def nights(readings: Any, of_series: Any, suns: Any, offsets: Sequence[tuple[int, int]]) -> Any:
    """Each day beside the night that follows it, as `targets.daily_cycle.night_drop` pairs them.

    Parameters
    ----------
    readings, of_series, offsets
        As :func:`daily`.
    suns : ibis Table
        ``SUNS``: sunrise and sunset of each logger and local day, µs after local midnight by the clock. Where the sun sets after
        midnight, before it rises, the day is outside the two.

    Returns
    -------
    ibis Table
        ``logger_id``, ``day_us``, ``n``, ``day_c`` and ``night_c`` (means), ``night_drop`` (°C), ``step_s``; days with both parts.
    """
    import ibis

    placed = readings.mutate(local_us=_local(readings.at_us, offsets))
    placed = placed.mutate(clock_us=_since(placed.local_us, DAY_US), day_us=placed.local_us - _since(placed.local_us, DAY_US))
    lit = placed.join(suns, ["logger_id", "day_us"]).select("logger_id", "day_us", "clock_us", "temp_c", "rise_us", "set_us")
    risen, gone = lit.clock_us >= lit.rise_us, lit.clock_us >= lit.set_us
    parted = lit.mutate(light=ibis.ifelse(lit.rise_us <= lit.set_us, risen & ~gone, risen | ~gone))
    early = ~parted.light & (parted.clock_us < NOON_US)
    paired = parted.mutate(day_us=ibis.ifelse(early, parted.day_us - DAY_US, parted.day_us))
    both = paired.group_by(["logger_id", "day_us"]).agg(
        n=ibis._.count(), day_c=paired.temp_c.mean(where=paired.light), night_c=paired.temp_c.mean(where=~paired.light)
    )
    whole = both.filter(both.day_c.notnull(), both.night_c.notnull())
    return _with_step(whole.mutate(night_drop=whole.day_c - whole.night_c), of_series)


def _in_order() -> Any:
    import ibis

    return ibis.window(group_by="logger_id", order_by="at_us")


def _summary(readings: Any) -> dict[str, Any]:
    """``n``, ``mean_c``, ``low_c`` and ``high_c`` of the readings, each weighing the same."""
    value = readings.temp_c
    return {"n": value.count(), "mean_c": value.mean(), "low_c": value.min(), "high_c": value.max()}


def _with_step(table_: Any, of_series: Any) -> Any:
    joined = table_.join(of_series.select("logger_id", "step_us"), "logger_id")
    return joined.select(*table_.columns, step_s=joined.step_us / 1e6)


def _since(at: Any, unit: int) -> Any:
    """What has passed of an hour or a day."""
    return (at - EARLIEST_US) % unit


def _whole(value: Any) -> Any:
    # not round(): engines differ on halves
    return (value + 0.5).floor().cast("int64")


def _local(at: Any, offsets: Sequence[tuple[int, int]]) -> Any:
    """The local clock: halves of the list of offsets are asked in turn, so that a zone of many changes costs few comparisons."""
    import ibis

    def offset(first: int, end: int) -> Any:
        if end - first == 1:
            return ibis.literal(offsets[first][1], "int64")
        middle = (first + end) // 2
        return ibis.ifelse(at >= offsets[middle][0], offset(middle, end), offset(first, middle))

    return at + offset(0, len(offsets))
