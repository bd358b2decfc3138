"""What the command line can do, one module for each user and purpose.

A module has functions that typer reads and `COMMANDS`, the list of those that are commands.
Inner code raises `BatteryError`; `battery.cli` makes one line of it. Heavy imports stay inside
the commands so that `battery visit` is quick to show its first picture.
"""
