"""Whether something was forced when a line of the journal was written; a late message says so too."""

from controller.records import EventRecord

_SET = ("INPUT_FORCED", "FAILURE_SET")
_ENDED = ("FORCE_ENDED", "FAILURE_ENDED")
RELEVANT = (*_SET, *_ENDED)
"""Events that move what is forced."""


def forced_after(forced: frozenset[str], record: EventRecord) -> frozenset[str]:
    """
    The inputs that are forced and the failures that are put in, after this line; feed it every line in order.

    >>> lines = [("INPUT_FORCED", "level_free reads 0, FORCED"), ("FAILURE_SET", "flap_slow, amount 0.5")]
    >>> forced = frozenset()
    >>> for name, what in [*lines, ("FORCE_ENDED", "level_free")]:
    ...     forced = forced_after(forced, EventRecord(0, "", name, what, 0, ""))
    >>> sorted(forced)
    ['flap_slow']
    """
    if record.id == "POWER_UP":
        return frozenset()
    name = record.what.split(" ")[0].rstrip(",")
    if record.id in _SET:
        return forced | {name}
    return forced - {name} if record.id in _ENDED else forced
