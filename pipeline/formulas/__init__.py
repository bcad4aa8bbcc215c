"""Comes in: numbers and arrays. Goes out: numbers and arrays, each formula with its source.

Knows nothing of books, files and pages.
"""
