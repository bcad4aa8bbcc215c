"""Comes in: rows and targets. Goes out: the gap list, the revisit plan, and reports for offices and owners.

Knows no database, and sends nobody to eggs.
"""
