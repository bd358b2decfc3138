"""Who and what is in an export, and under which codes."""
