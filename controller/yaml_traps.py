"""
Unquoted values that YAML 1.1 and YAML 1.2 readers take differently, and what to type instead.

Sources: the YAML 1.1 types bool, int, float, timestamp, merge and value; YAML 1.2.2 section 10.3 (core
schema). Refused wherever they stand, so that no file means two things.
"""

import re
from decimal import Decimal


def _truth(text: str) -> str:
    return "true" if text.lower() in ("y", "yes", "on") else "false"


def _without_zeros(text: str) -> str:
    return text.replace("_", "").lstrip("+").lstrip("0").replace("-0", "-") or "0"


def _written_out(text: str) -> str:
    small = re.fullmatch(r"[-+\d._]{1,15}[eE][-+]?\d", text)
    return f"{Decimal(text.replace('_', '')):f}" if small else "the number in full"


_TEXT_TO_SOME = "is text to some YAML readers"
_EXPONENT = r"[-+]?([\d_]*\d[\d_]*(\.[\d_]*)?|[\d_]*\.[\d_]*\d[\d_]*)[eE][-+]?\d+"
_TRAPS = (
    (r"(?i:y|yes|on|n|no|off)", "is true or false to some YAML readers and text to others", _truth),
    (r"[-+]?\d[\d_]*(:[0-5]?\d)+(\.[\d_]*)?", "is to base 60 for some YAML readers", lambda _: "one number"),
    (r"[-+]?0[\d_]+(\.\d*)?", "starts with 0, which is octal to some YAML readers", _without_zeros),
    (r"[-+]?0[xob][\da-fA-F_]+", "is not a decimal number", lambda _: "it in decimals"),
    (_EXPONENT, _TEXT_TO_SOME, _written_out),
    (r"(?=.*\d)(?=.*_)([-+]_|[-+]?[\d.])[\d_.]*", _TEXT_TO_SOME, lambda text: text.replace("_", "")),
    (r"[-+]\.\d+", _TEXT_TO_SOME, lambda text: text.replace(".", "0.").lstrip("+")),
    (r"\d{4}-\d\d?-\d\d?([Tt ].*)?", "is a date to some YAML readers", None),
    (r"[-+]?\d{16,}(\.\d*)?", "has more digits than any value here", None),
    (r"=|<<", "is a special sign of YAML", None),
)  # fmt: skip


def trap(text: str) -> str | None:
    """
    What is wrong with an unquoted value, and the way out; None if every reader takes it alike.

    >>> trap("off")
    'off is true or false to some YAML readers and text to others: write false, or as text "off"'
    >>> trap("1e3")
    '1e3 is text to some YAML readers: write 1000, or as text "1e3"'
    >>> trap("35")
    """
    for form, what, instead in _TRAPS:
        if re.fullmatch(form, text):
            shown = text if len(text) <= 30 else f"{text[:27]}..."
            way_out = f"write {instead(text)}, or as text" if instead else "write"
            return f'{shown} {what}: {way_out} "{shown}"'
    return None


def plain(text: str) -> object:
    """
    An unquoted scalar by the core schema, in decimals.

    >>> [plain(t) for t in ("35", "0.5", "true", "", "trip")]
    [35, 0.5, True, None, 'trip']
    """
    if text in ("true", "True", "TRUE", "false", "False", "FALSE"):
        return text.lower() == "true"
    if text in ("", "~", "null", "Null", "NULL"):
        return None
    if re.fullmatch(r"[-+]?(0|[1-9]\d{0,14})", text, re.ASCII):
        return int(text)
    if re.fullmatch(r"[-+]?(\d+\.\d*|\.\d+)", text, re.ASCII):
        return float(text)
    if re.fullmatch(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)", text):
        return float(text.replace(".", "", 1))
    return text
