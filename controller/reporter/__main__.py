"""
The reporter, as the rig starts it: `python -m controller.reporter FD`, an open socket to the rig.

It ends with the rig and not before: a signal from the terminal is for the rig, which ends it in order.
"""

import asyncio
import os
import signal
import socket
import sys

from controller.reporter.process import report

NICE = 5
"""Behind the scans of the rig, where both want the processor."""


def main() -> None:
    """Works until the rig has ended."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    os.nice(NICE)
    asyncio.run(report(socket.socket(fileno=int(sys.argv[1]))))


if __name__ == "__main__":
    main()
