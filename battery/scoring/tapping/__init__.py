"""Scores of tapping: from its events, end points and reaches."""
