"""What the installed program starts with: `battery` without a Python of its own."""

from multiprocessing import freeze_support

from battery.cli import main

if __name__ == "__main__":
    freeze_support()  # rescoring starts this program anew on every core
    main()
