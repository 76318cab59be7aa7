"""``python -m brewwater`` and the ``brewwater`` command."""

import os
import signal


def run() -> int:
    """The command line as a process of its own: an interrupt ends it at once, without a word, with status 130.

    Nothing needs to be put in order then: what is being saved is saved whole or not at all, whenever the process ends.
    Set before anything else is loaded, since loading is most of what an impatient person interrupts.
    """
    signal.signal(signal.SIGINT, lambda number, frame: os._exit(128 + number))
    from brewwater.cli import main

    return main()


if __name__ == "__main__":
    raise SystemExit(run())
