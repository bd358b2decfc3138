"""Paths and what any signal is put through: grids, filters, spectra, movement."""
