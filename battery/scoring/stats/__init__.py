"""From many values to one, and how sure it is."""
