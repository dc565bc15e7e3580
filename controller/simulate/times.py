"""Times as people type them: `1h`, `12m30s`, `90s`, `500ms`."""

import re

_PARTS = re.compile(r"(?:(\d+)h)?(?:(\d+)m(?!s))?(?:(\d+(?:\.\d+)?)s)?(?:(\d+)ms)?")
HINT = "write it as 1h, 12m30s, 90s or 500ms"


def milliseconds(text: str) -> int:
    """
    A typed duration in whole milliseconds.

    Raises:
        ValueError: It is not one, or it is zero.

    >>> milliseconds("1h"), milliseconds("12m30s"), milliseconds("2.5s"), milliseconds("500ms")
    (3600000, 750000, 2500, 500)
    """
    found = _PARTS.fullmatch(text.strip())
    hours, minutes, seconds, rest = found.groups() if found else (None,) * 4
    ms = int(hours or 0) * 3_600_000 + int(minutes or 0) * 60_000 + round(float(seconds or 0) * 1_000)
    ms += int(rest or 0)
    if ms == 0:
        msg = f"{text!r} is not a duration: {HINT}"
        raise ValueError(msg)
    return ms


def typed(ms: int) -> str:
    """
    Milliseconds as a person types them.

    >>> typed(750_000), typed(3_600_000), typed(61_250), typed(0)
    ('12m30s', '1h', '1m1.25s', '0s')
    """
    minutes, left = divmod(ms, 60_000)
    hours, minutes = divmod(minutes, 60)
    seconds = f"{left / 1_000:g}s" if left or not ms else ""
    return (f"{hours}h" if hours else "") + (f"{minutes}m" if minutes else "") + seconds
