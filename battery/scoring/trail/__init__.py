"""Scores of a trail: its links."""
