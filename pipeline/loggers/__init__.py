"""Comes in: exports of temperature loggers. Goes out: readings in UTC with their marks, staged for the book.

Knows nothing of finds and of targets.
"""
