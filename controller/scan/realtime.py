"""What the process does for its deadlines, as far as the system permits."""

import gc
import os
import sys
import threading

SWITCH_S = 0.0005
"""A thread that writes may keep the interpreter from the scans no longer than this."""
FIFO_PRIORITY = 50


def settle(fifo: bool) -> str:
    """
    Called once, when all is built: what is there is no garbage any more, other threads give way sooner.

    Returns:
        With `fifo`: what came of it; else nothing.
    """
    sys.setswitchinterval(SWITCH_S)
    gc.collect()
    gc.freeze()
    return _fifo() if fifo else ""


def _fifo() -> str:
    """
    The real-time schedule, for this thread and, right below it, those that write for it.

    A writer that stood in line with the rest of the machine while it holds the interpreter would keep the
    scans waiting with it.
    """
    if not hasattr(os, "sched_setscheduler"):
        return "--fifo: this system has no such schedule; goes on without"
    here = threading.get_native_id()
    try:
        for thread in threading.enumerate():
            number = thread.native_id or here
            below = number != here
            schedule = os.SCHED_FIFO | os.SCHED_RESET_ON_FORK  # processes that it starts have none of it
            os.sched_setscheduler(number, schedule, os.sched_param(FIFO_PRIORITY - below))
    except OSError as no:
        return f"--fifo: not permitted ({no.strerror}; it needs CAP_SYS_NICE); goes on without"
    return f"SCHED_FIFO with priority {FIFO_PRIORITY}"
