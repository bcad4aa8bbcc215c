"""Comes in: rows in Darwin Core terms. Goes out: the responses of the published tests, and a page of them.

Knows nothing of the book.
"""
