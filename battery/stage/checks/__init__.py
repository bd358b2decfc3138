"""Checks beside the tests: the screen fits and is measured, sound is heard, the loop filmed."""
