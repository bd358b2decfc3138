"""Scores of a pursuit: the finger against the chip as it was shown."""
