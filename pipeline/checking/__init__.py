"""Comes in: rows of text with their places. Goes out: typed rows accepted, flagged or held back, every row and cell accounted for.

Knows nothing of the database; what the book holds already is handed in as frames.
"""
