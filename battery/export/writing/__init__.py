"""An export written, part by part."""
