"""Comes in: files as they are. Goes out: cells as text with file and line, and what each reads as.

Knows nothing of the book, of rules between fields, or of what the numbers are for.
"""
