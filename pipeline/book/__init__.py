"""Comes in: what a check let through. Goes out: the current rows, what is held, the ledger. The only door to DuckDB.

Knows nothing of targets, pages or maps.
"""
