"""Comes in: targets with their evidence. Goes out: the pages that a keeper prints.

Knows no database, and derives nothing.
"""
