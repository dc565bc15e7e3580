"""
YAML text to plain data, with the place of every key and value, and no silent surprises.

Refused: duplicate keys, anchors, aliases and tags (a station file says each thing once, in full), and
every unquoted value that YAML 1.1 and YAML 1.2 readers take differently (`no`, `1:30`, `010`, `1e3`,
dates; see `controller.yaml_traps`).
"""

from typing import Any, NamedTuple

import yaml
from yaml.nodes import MappingNode, Node, ScalarNode, SequenceNode

from controller.problems import Problem
from controller.yaml_traps import plain, trap

Loc = tuple[str | int, ...]
Place = tuple[int, int]  # line, column; from 1
_NULL = "tag:yaml.org,2002:null"
DEEPEST = 12  # levels; a station file has three, and a recursion has an end

_MEANT = {
    r"'\t'": "is a tab: indent and separate with spaces",
    "mapping values are not allowed": "has a colon too many: quote the text, or put the key on its own line",
    "expected a single document": "starts a second document (---): one file, one document",
    "expected <block end>": "does not line up with the keys above: check the indentation",
    "unexpected end of stream": "ends inside a quoted text: close the quote",
    "could not find expected ':'": "is not `key: value`: a colon and a space are missing",
    "cannot start any token": "begins with a sign that YAML keeps for itself: quote the text",
    "nested too deep": "is nested deeper than any station file",
}
"""What the parser says, and what it means to somebody who does not know the grammar."""


class Parsed(NamedTuple):
    """
    What a text holds, and where.

    `data` is None where the text is no YAML mapping at all; `problems` are those that reading stepped over.
    """

    data: object
    keys: dict[Loc, Place]
    values: dict[Loc, Place]
    quoted: set[Loc]
    problems: list[Problem]


class _Loader(yaml.SafeLoader):
    """Composes nodes and keeps going past anchors, aliases and tags, noting each."""

    def __init__(self, stream: str) -> None:
        super().__init__(stream)
        self.refused: list[tuple[Place, str]] = []
        self.depth = 0

    def compose_node(self, parent: Node | None, index: int) -> Node | None:
        event: yaml.Event = self.peek_event()  # type: ignore[no-untyped-call]
        start = event.start_mark
        if isinstance(event, yaml.AliasEvent):
            self.get_event()  # type: ignore[no-untyped-call]
            self.refused.append((_place(start), f"*{event.anchor} is an alias: write the value out again"))
            return ScalarNode(_NULL, "", start, event.end_mark)  # type: ignore[arg-type]
        assert isinstance(event, yaml.NodeEvent)
        self._strip(event)
        if self.depth == DEEPEST:
            raise yaml.MarkedYAMLError(problem="nested too deep", problem_mark=start)  # type: ignore[arg-type]
        self.depth += 1
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node

    def _strip(self, event: yaml.NodeEvent) -> None:
        """Note an anchor or a tag and read on without it."""
        place = _place(event.start_mark)
        if event.anchor is not None:
            self.refused.append((place, f"&{event.anchor} is an anchor: leave it out, repeat the value"))
            event.anchor = None
        if isinstance(event, yaml.ScalarEvent | yaml.CollectionStartEvent) and event.tag is not None:
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self.refused.append((place, f"{tag} is a tag: leave it out"))
            event.tag = None
            event.implicit = (True, True) if isinstance(event, yaml.ScalarEvent) else True


class _Walk:
    """Turns nodes into data and fills the maps of places."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.parsed = Parsed(None, {}, {}, set(), [])

    def refuse(self, place: Place, loc: Loc, text: str) -> None:
        self.parsed.problems.append(Problem(self.file, *place, dotted(loc), text))

    def value(self, node: Node, loc: Loc) -> object:
        self.parsed.values[loc] = _place(node.start_mark)
        if isinstance(node, MappingNode):
            return self.mapping(node, loc)
        if isinstance(node, SequenceNode):
            return [self.value(item, (*loc, i)) for i, item in enumerate(node.value)]
        assert isinstance(node, ScalarNode)
        if node.style is not None:
            self.parsed.quoted.add(loc)
            return node.value
        trapped = trap(node.value)
        if trapped:
            self.refuse(self.parsed.values[loc], loc, trapped)
        return plain(node.value)

    def mapping(self, node: MappingNode, loc: Loc) -> dict[str, object]:
        data: dict[str, object] = {}
        for key_node, value_node in node.value:
            place = _place(key_node.start_mark)
            if not isinstance(key_node, ScalarNode) or not key_node.value:
                self.refuse(place, loc, "a key must be one word before a colon")
                continue
            key = (*loc, key_node.value)
            if key in self.parsed.keys:
                line = self.parsed.keys[key][0]
                self.refuse(place, key, f"stands twice: first in line {line}, keep one of the two")
                continue
            self.parsed.keys[key] = place
            data[key_node.value] = self.value(value_node, key)
        return data


def parse(file: str, text: str) -> Parsed:
    """The data of one YAML document with the place of everything in it; never raises for a bad text."""
    walk = _Walk(file)
    try:
        loader = _Loader(text)
        node = loader.get_single_node()
    except yaml.YAMLError as error:
        walk.refuse(*_syntax(error, text))
        return walk.parsed
    for place, said in loader.refused:
        walk.refuse(place, (), said)
    if node is None or (isinstance(node, ScalarNode) and not node.value and not node.style):
        if not loader.refused:
            walk.refuse((1, 1), (), "is empty")
        return walk.parsed
    data = walk.value(node, ())
    if not isinstance(data, dict):
        walk.refuse(_place(node.start_mark), (), "must be keys and values, as in `key: value`")
        return walk.parsed
    return walk.parsed._replace(data=data)


def dotted(loc: Loc) -> str:
    """
    The path to a value as people read it.

    >>> dotted(("inputs", "vacuum_ua", "range", 1))
    'inputs.vacuum_ua.range[1]'
    """
    return "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in loc).lstrip(".")


def _place(mark: Any) -> Place:
    """A mark of the parser, which counts from 0."""
    return mark.line + 1, mark.column + 1


def _syntax(error: yaml.YAMLError, text: str) -> tuple[Place, Loc, str]:
    """Where the parser gave up, in words for somebody who does not know its grammar."""
    if isinstance(error, yaml.reader.ReaderError):
        before = text[: error.position]
        place = before.count("\n") + 1, error.position - before.rfind("\n")
        return place, (), f"character number {error.character:#x} cannot stand in a text file"
    assert isinstance(error, yaml.MarkedYAMLError)
    mark = error.problem_mark or error.context_mark
    place = _place(mark) if mark else (1, 1)
    said = f"{error.context or ''} {error.problem or ''}"
    meant = next((words for sign, words in _MEANT.items() if sign in said), None)
    return place, (), meant or f"cannot be read as YAML: {error.problem}"
