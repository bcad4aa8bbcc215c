"""Comes in: what a person asked for. Goes out: files written, and a report of what became of everything.

Knows the order of the steps, and nothing of how a step is done.
"""
