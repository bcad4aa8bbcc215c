"""Checks: those of one column, and the rules that hold fields of a row or several rows against one another."""
