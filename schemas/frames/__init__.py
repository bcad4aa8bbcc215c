"""Shapes of the frames that pass between rooms, and of the tables that are written."""
