"""Comes in: files, typed visits, corrections. Goes out: what became of every row, and a load in the book.

Knows the order from reading to the book, and nothing of how a step is done or of what the book is for.
"""
