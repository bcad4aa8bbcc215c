"""Comes in: rows that may be shown, or for the private map all rows. Goes out: one page a map. The only door to folium.

Knows no database, and decides nothing about what is public.
"""
