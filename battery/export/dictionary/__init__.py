"""What every table and column of an export means: the one place that says so."""
