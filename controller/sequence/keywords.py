"""The keywords of IEC 61131-3 (third edition, from memory), which no name of the logic may be."""

_WORDS = """

"""

IEC_KEYWORDS = frozenset(_WORDS.split())
