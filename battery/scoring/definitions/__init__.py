"""The measures of each task, each defined once."""
