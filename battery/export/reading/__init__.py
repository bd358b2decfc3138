"""An export read back, whoever made it and however large it is."""
