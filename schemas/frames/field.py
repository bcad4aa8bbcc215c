"""Shapes of the frames of selection, detection and loggers."""

from __future__ import annotations

from schemas.fields import Real, Text
from schemas.frames.frame import Count, Frame, MediumOfStage, columns_of, maybe, said
from schemas.frames.targets import Readings


class NightDrop(Frame):
    """How much nights are cooler where loggers hung."""

    site: Text = said("site")
    medium: Text = said("medium", "medium of the logger")
    height_or_depth_cm: Real = maybe("height_or_depth_cm")
    month: Count = said("month", "1 to 12, of the day before the night")
    night_drop: Real = maybe("night_drop", "median of day's mean less following night's mean, °C; negative where nights are warmer")
    n_days: Count = said("n_days", "days with a whole night after them")
    n_years: Count = said("n_years", "years of these days")


class HalfRange(Frame):
    """Half of the daily swing where loggers hung."""

    site: Text = said("site")
    medium: Text = said("medium", "medium of the logger")
    height_or_depth_cm: Real = maybe("height_or_depth_cm")
    half_range: Real = maybe("half_range", "median over days of half of highest less lowest, °C")
    n_days: Count = said("n_days", "whole days")


class LoggerRecord(Frame):
    """Highest readings where loggers hung, and the longest time above a line."""

    site: Text = said("site")
    medium: Text = said("medium", "medium of the loggers")
    n_days: Count = said("n_days", "days with a reading, each logger's own")
    max: Real = said("max", "highest reading, °C")
    mean_daily_max: Real = said("mean_daily_max", "mean of the days' highest readings, °C")
    line_c: Real = said("line_c", "line whose passing was timed, °C")
    longest_h: Real = said("longest_h", "longest unbroken time above it, h; 0 where it was never passed")


class CorrectedReadings(Readings):
    """Readings beside what each would be as the day's mean."""

    logger_id: Text = said("logger_id", "logger that was used; empty where none fits")
    logger_then: Real = maybe("logger_then", "what it read at that time, between its two readings, °C")
    logger_day_mean: Real = maybe("logger_day_mean", "its mean over that local day, °C")
    corrected: Real = maybe("corrected", "reading as the day's mean: value + logger_day_mean − logger_then, °C; missing without a logger")


class Selection(MediumOfStage):
    """Whether animals chose: one row a cell and season."""

    season: Text = said("season")
    word: Text = said("word", "selected or observed")
    side: Text = said("side", "cooler or warmer than what was to be had, where selected")
    reason: Text = said("reason", "why only observed")
    difference: Real = maybe("difference", "median over visits of reading at animals less reading where none were, °C")
    low: Real = maybe("low", "lower end of its 95 % interval, °C")
    high: Real = maybe("high", "upper end of its 95 % interval, °C")
    n_visits: Count = said("n_visits", "visits with both")
    n_dates: Count = said("n_dates", "their dates")
    n_sites: Count = said("n_sites", "their sites")
    n_years: Count = said("n_years", "their years")
    n_readings: Count = said("n_readings", "readings at animals on these visits")
    n_points: Count = said("n_points", "readings where no animals were on these visits")
    n_unpaired: Count = said("n_unpaired", "visits with readings at animals and none where animals were not")


class Detection(Frame):
    """Visits that looked for a taxon, by thirds from cool to warm."""

    taxon: Text = said("taxon")
    third: Text = said("third", "cool, middle or warm third of the visits of each site")
    n_visits: Count = said("n_visits", "visits that looked for it, with a temperature")
    n_found: Count = said("n_found", "of these, visits that found it")
    share: Real = maybe("share", "n_found / n_visits; what was not found may have been there")
    n_sites: Count = said("n_sites", "sites of these visits")
    n_left_out: Count = said(
        "n_left_out", "visits that looked for it and are in no third: no temperature, unfinished, or too few at their site"
    )


NIGHT_DROP_COLUMNS = columns_of(NightDrop)
HALF_RANGE_COLUMNS = columns_of(HalfRange)
CORRECTED_COLUMNS = columns_of(CorrectedReadings)
SELECTION_COLUMNS = columns_of(Selection)
DETECTION_COLUMNS = columns_of(Detection)
