"""The screens of the desk, one module each with its routes."""
