"""Scores of a slide: its passes out and back."""
