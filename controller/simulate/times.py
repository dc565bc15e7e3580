"""Times as people type them: `1h`, `12m30s`, `90s`, `500ms`, `1.5h`, `1d`."""

import re

_MS = {"d": 86_400_000, "h": 3_600_000, "m": 60_000, "s": 1_000, "ms": 1}
_PARTS = re.compile("".join(rf"(?:(\d+(?:\.\d+)?){unit}(?![a-z]))?" for unit in _MS))
HINT = "write it as 1h, 12m30s, 90s or 500ms"


def milliseconds(text: str) -> int:
    """
    A typed duration in whole milliseconds.

    Raises:
        ValueError: It is not one, or it is zero.

    >>> milliseconds("1.5h"), milliseconds("12m30s"), milliseconds("2.5s"), milliseconds("500ms")
    (5400000, 750000, 2500, 500)
    """
    text = text.strip()
    found = _PARTS.fullmatch(text) if text else None
    numbers = found.groups() if found else ()
    ms = round(sum(float(n or 0) * ms for n, ms in zip(numbers, _MS.values(), strict=False)))
    if ms == 0:
        wrong = "must be over 0" if found or text == "0" else "is not a duration"
        msg = f"{text!r} {wrong}: {HINT}"
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
