"""
A timer of the Linux kernel that fires at absolute deadlines and is waited for as a file (timerfd_create(2)).

An event loop rounds its own timers up to the next millisecond; this one comes within tens of microseconds.
"""

import ctypes
import os
import sys

CLOCK_MONOTONIC = 1
TFD_TIMER_ABSTIME = 1
NS = 1_000_000_000


class _TimeSpec(ctypes.Structure):
    _fields_ = (("s", ctypes.c_long), ("ns", ctypes.c_long))


class _TimerSpec(ctypes.Structure):
    _fields_ = (("interval", _TimeSpec), ("value", _TimeSpec))


def timer_fd(first_s: float, period_s: float) -> int | None:
    """
    The descriptor of a running timer; None where the system has none.

    Args:
        first_s: When it fires first, of the monotonic clock.
        period_s: And then again after each such time.
    """
    if not sys.platform.startswith("linux"):
        return None
    try:
        return _opened(first_s, period_s)
    except (OSError, AttributeError):
        return None


def _opened(first_s: float, period_s: float) -> int:
    if sys.version_info >= (3, 13):
        fd = os.timerfd_create(CLOCK_MONOTONIC, flags=os.TFD_NONBLOCK | os.TFD_CLOEXEC)
        os.timerfd_settime(fd, flags=os.TFD_TIMER_ABSTIME, initial=first_s, interval=period_s)
        return fd
    c = ctypes.CDLL(None, use_errno=True)
    fd = c.timerfd_create(CLOCK_MONOTONIC, os.O_NONBLOCK | os.O_CLOEXEC)
    if fd < 0:
        raise OSError(ctypes.get_errno(), "timerfd_create")
    spec = _TimerSpec(_time(period_s), _time(first_s))
    if c.timerfd_settime(fd, TFD_TIMER_ABSTIME, ctypes.byref(spec), None):
        os.close(fd)
        raise OSError(ctypes.get_errno(), "timerfd_settime")
    return int(fd)


def _time(seconds: float) -> _TimeSpec:
    return _TimeSpec(*divmod(round(seconds * NS), NS))
