"""Comes in: values, weights and dates. Goes out: quantiles, bounds, sample sizes and grades, each with its source.

Knows nothing of books, files, pages and of what was measured.
"""
