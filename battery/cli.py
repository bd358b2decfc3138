"""The command line: the commands put together, and their errors as one line.

Inner code raises `BatteryError`; here it becomes one line on standard error and an exit
status: 0 done, 1 it went wrong, 2 it was asked wrongly.
"""

from __future__ import annotations

import io
import os
import sys

import typer

from battery.commands import (
    clinic,
    correcting,
    desk,
    exporting,
    handing,
    home,
    keeping,
    launcher,
    saying,
    visiting,
    watching,
)
from battery.errors import BatteryError
from battery.files import keep_private


def say_anything() -> None:
    """Let every text be shown, whatever bytes a damaged store or a strange terminal has."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def one_thread_each() -> None:
    """Let products of matrices take one thread, unless somebody has set another number.

    They are small here: more threads wait for each other, which takes ten times the processor
    time where pools are fitted. To be called before numpy is loaded.
    """
    for name in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
        os.environ.setdefault(name, "1")


app = typer.Typer(
    callback=say_anything,
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help="A weekly test of hand-eye coordination on a screen, and what it shows against "
    "baseline. For research, education and record-keeping under a licensed clinician's care; "
    "not a diagnosis.",
)

for _module in (
    clinic,
    desk,
    watching,
    saying,
    visiting,
    home,
    correcting,
    handing,
    exporting,
    keeping,
):
    for _command in _module.COMMANDS:
        app.command()(_command)


def main() -> None:
    """Run the command line; the installed `battery` command."""
    keep_private()
    one_thread_each()
    try:
        app(args=launcher.launched(sys.argv[1:]), standalone_mode=True)
    except BatteryError as error:
        print(f"battery: {error}", file=sys.stderr)
        sys.exit(error.exit_status)
    except KeyboardInterrupt:
        print("battery: stopped; what was finished is stored", file=sys.stderr)
        sys.exit(1)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(1)


def main_without_console() -> None:
    """Run it from a menu or an icon; the installed `battery-window` command.

    Where there is no console, its lines go to a file beside the user's data, and what went
    wrong is shown in a small window.
    """
    keep_private()
    one_thread_each()
    with launcher.lines_kept():
        try:
            app(args=launcher.launched(sys.argv[1:]), standalone_mode=True)
        except BatteryError as error:
            print(f"battery: {error}", file=sys.stderr)
            from battery.stage import show_message

            show_message(str(error))
            sys.exit(error.exit_status)


if __name__ == "__main__":
    main()
