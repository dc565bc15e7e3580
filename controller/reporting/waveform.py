"""
Waveforms as a value change dump (VCD) of IEEE 1364, four-state, for any viewer of waveforms.

Times are milliseconds. A condition is a wire of one bit, a counted thing an integer of 32, a measured one a
real; names that the standard would not take are written with underscores.
"""

import re
from collections.abc import Iterable, Sequence
from typing import IO, NamedTuple

CODES = [chr(k) for k in range(33, 127)]
WIDTH = {"wire": 1, "integer": 32, "real": 64}


class Variable(NamedTuple):
    """What a viewer shows as one line."""

    scope: str
    name: str
    kind: str  # wire, integer, real


def code(number: int) -> str:
    """
    The identifier code of a variable: printable ASCII, as short as can be.

    >>> code(0), code(93), code(94)
    ('!', '~', '!!')
    """
    place, rest = divmod(number, len(CODES))
    return CODES[rest] + (code(place - 1) if place else "")


class Waveform:
    """Writes one dump; times go up, scopes come in one piece each."""

    def __init__(self, file: IO[str], top: str, made_by: str, variables: Sequence[Variable]) -> None:
        self._file, self._variables = file, variables
        self._codes = [code(n) for n in range(len(variables))]
        lines = ["$version", f"  {made_by}", "$end", "$timescale 1 ms $end"]
        lines.append(f"$scope module {identifier(top)} $end")
        for scope in dict.fromkeys(v.scope for v in variables):
            lines.append(f"$scope module {identifier(scope)} $end")
            for short, v in zip(self._codes, variables, strict=True):
                if v.scope == scope:
                    lines.append(f"$var {v.kind} {WIDTH[v.kind]} {short} {identifier(v.name)} $end")
            lines.append("$upscope $end")
        self._put([*lines, "$upscope $end", "$enddefinitions $end"])
        self._begun = False

    def whole(self, at_ms: int, values: Sequence[int]) -> None:
        """All values: at the beginning, and where it goes on after a pause."""
        word = "$dumpon" if self._begun else "$dumpvars"
        self._begun = True
        told = [self._change(n, value) for n, value in enumerate(values)]
        self._put([f"#{at_ms}", word, *told, "$end"])

    def moved(self, at_ms: int, changes: Iterable[tuple[int, int]]) -> None:
        """The variables that moved, by number, with their new values."""
        self._put([f"#{at_ms}", *[self._change(n, value) for n, value in changes]])

    def pause(self, at_ms: int) -> None:
        """From here on nobody knows; a real has no such value and stays."""
        pairs = zip(self._variables, self._codes, strict=True)
        told = [f"x{c}" if v.kind == "wire" else f"bx {c}" for v, c in pairs if v.kind != "real"]
        self._put([f"#{at_ms}", "$dumpoff", *told, "$end"])

    def end(self, at_ms: int) -> None:
        """How far the last values stand."""
        self._put([f"#{at_ms}"])

    def _change(self, n: int, value: int) -> str:
        short, kind = self._codes[n], self._variables[n].kind
        if kind == "wire":
            return f"{int(value != 0)}{short}"
        return f"r{value} {short}" if kind == "real" else f"b{value & 0xFFFFFFFF:b} {short}"

    def _put(self, lines: Iterable[str]) -> None:
        self._file.write("\n".join(lines) + "\n")


def identifier(name: str) -> str:
    """
    A name as an identifier of the standard: letters, digits and underscores, no digit first.

    >>> identifier("R-101"), identifier("3rd")
    ('R_101', '_3rd')
    """
    plain = re.sub(r"[^A-Za-z0-9_]", "_", name)
    return plain if not plain[:1].isdigit() else f"_{plain}"
