"""At the tank: whether an enclosure is inside what the wild shows, since when not, and what to do first.

Comes in: an open book, targets, a stretch of time. Goes out: figures, a verdict, pages. Knows nothing of how targets are derived.
"""
