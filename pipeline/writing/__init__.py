"""Comes in: numbers, counts and templates. Goes out: words, pages and pictures, every text escaped.

Knows nothing of what the numbers mean.
"""
