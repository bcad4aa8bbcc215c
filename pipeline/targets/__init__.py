"""Comes in: readings of the book. Goes out: what an enclosure should be, with the evidence, or a refusal with its reason.

Knows nothing of pages, and writes no file.
"""
