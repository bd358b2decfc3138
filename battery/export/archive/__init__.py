"""Exports of many clinics together, and all of them scored again."""
