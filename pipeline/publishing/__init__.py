"""Comes in: the rows of a book. Goes out: rows that may be shown to everyone, and archives of them in open standards.

Knows nothing of targets and pages.
"""
