"""The window, its scale and colours, pointer and sound."""
