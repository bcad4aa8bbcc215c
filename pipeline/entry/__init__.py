"""Comes in: schemas, and the sites and taxa of a book. Goes out: what people record on, and their workbook with its faults marked.

Knows nothing of targets and publications.
"""
