"""Comes in: rows of a strange sheet, and the column map that explains it. Goes out: rows under rillbook's names.

Knows nothing of the book, of rules between fields, or of what the numbers are for.
"""
