"""
The reporter, as the rig starts it: `python -m controller.reporter FD`, an open socket to the rig.

It ends with the rig and not before: in a session of its own, and started with the signals blocked that end
others, so that one from the terminal or a service manager is for the rig alone, which ends it in order.
"""

import asyncio
import os
import socket
import sys

from controller.reporter.process import report

NICE = 5
"""Behind the scans of the rig, where both want the processor."""


def main() -> None:
    """Works until the rig has ended."""
    os.setsid()
    os.nice(NICE)
    with open(os.devnull, "r+b") as nowhere:
        os.dup2(nowhere.fileno(), 0)
        os.dup2(nowhere.fileno(), 1)
    asyncio.run(report(socket.socket(fileno=int(sys.argv[1]))))


if __name__ == "__main__":
    main()
