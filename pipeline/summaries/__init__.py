"""Comes in: readings of loggers, in whatever engine holds them. Goes out: their hourly and daily summaries, excursions and nights.

Knows nothing of finds, targets and pages, and changes nothing where the readings lie.
"""
