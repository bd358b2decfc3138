"""Raw rows of a block, made of its record and made a record again."""
