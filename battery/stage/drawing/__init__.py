"""From words, pictures and marks to pixels; positions in millimetres."""
