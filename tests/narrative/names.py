"""
Names of the definition and of what shows it, and the file and line where each stands.

A name is a kind and a word: `fact run`, `row stopped`, `interlock NO_VACUUM`, `output horn`,
`refusal clean vessel_full`, `preset fill_ms`, `point level_free`, `event STEP_CHANGED`,
`code controller/journal.py::write`, `claim lost I/O is a fault`, `test flap::a_lump_stays`.
"""

import ast
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import NamedTuple

from controller.engines.claims import CLAIMS
from controller.image import Inputs, Outputs
from controller.sequence.logic import Logic
from controller.sequence.presets import Presets
from controller.sequence.receiver import RECEIVER

ROOT = Path(__file__).parents[2]


class Place(NamedTuple):
    """Where something stands, in the repository."""

    path: str
    line: int


class Unknown(ValueError):  # noqa: N818, says what is wrong
    """Nothing of this name exists."""


def places(name: str) -> list[Place]:
    """Where `name` stands: one place, or one for each line of a table. Raises Unknown."""
    kind, _, word = name.partition(" ")
    found = FINDERS[kind](word) if kind in FINDERS else []
    if not found:
        msg = f"{name}: " + ("nothing of this name" if kind in FINDERS else f"no kind; there are {', '.join(FINDERS)}")
        raise Unknown(msg)
    return sorted(set(found))


def to_be_named() -> list[str]:
    """What the table must name at least once: every row, interlock, output, refusal and claim."""
    names = [f"row {row.guard.name}" for row in RECEIVER.rows]
    names += [f"interlock {i.name}" for i in RECEIVER.interlocks]
    names += [f"output {o.name}" for o in RECEIVER.output_lines]
    names += [f"refusal {r.command} {r.fact.name}" for r in RECEIVER.refusals]
    names += [f"claim {claim.name}" for claim in CLAIMS]
    return list(dict.fromkeys(names))


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def _files(under: str) -> list[Path]:
    return sorted((ROOT / under).rglob("*.py"))


def _place(path: Path, node: ast.AST) -> Place:
    return Place(str(path.relative_to(ROOT)), getattr(node, "lineno", 1))


def _fact(word: str) -> list[Place]:
    fact = _logic().facts.get(word)
    path, _, line = fact.where.rpartition(":") if fact else ("", "", "")
    if not line.isdigit():
        return []
    return [Place(str(Path(path).relative_to(ROOT)), int(line))]


@cache
def _logic() -> Logic:
    return Logic(RECEIVER)


def _row(word: str) -> list[Place]:
    return _lines([("Row", (word,), "") for row in RECEIVER.rows if row.guard.name == word])


def _interlock(word: str) -> list[Place]:
    return _lines([("Interlock", (i.cause.name,), word) for i in RECEIVER.interlocks if i.name == word])


def _output(word: str) -> list[Place]:
    lines = [o for o in RECEIVER.output_lines if o.name == word]
    return _lines([("Output", tuple(x.name for x in (o.when, o.unless) if x), word) for o in lines])


def _refusal(word: str) -> list[Place]:
    asked = [r for r in RECEIVER.refusals if f"{r.command} {r.fact.name}" == word]
    own = _lines([("Refusal", (r.fact.name,), r.command) for r in asked])
    return own or _lines([("", (r.fact.name,), r.reason) for r in asked])


def _lines(wanted: Iterable[tuple[str, tuple[str, ...], str]]) -> list[Place]:
    """The lines of tables: calls of a name (or pairs of fact and words) that hold these facts and this text."""
    return [
        place
        for called, facts, text in wanted
        for place, names, words in _written(called)
        if names.issuperset(facts) and (not text or text in words)
    ]


@cache
def _written(called: str) -> list[tuple[Place, set[str], set[object]]]:
    """Each such line of the sequence: where, the facts it names and the words it holds."""
    nodes = [(path, n) for path in _files("controller/sequence") for n in ast.walk(tree(path)) if _is_line(n, called)]
    return [
        (
            _place(path, node),
            {n.attr for n in ast.walk(node) if isinstance(n, ast.Attribute)},
            {n.value for n in ast.walk(node) if isinstance(n, ast.Constant)},
        )
        for path, node in nodes
    ]


def _is_line(node: ast.AST, called: str) -> bool:
    if isinstance(node, ast.Call):
        return isinstance(node.func, ast.Name) and node.func.id == called
    return not called and isinstance(node, ast.Tuple) and len(node.elts) == 2 and isinstance(node.elts[0], ast.Attribute)


def _preset(word: str) -> list[Place]:
    return _declared("controller/sequence/presets.py", word) if word in Presets._fields else []


def _point(word: str) -> list[Place]:
    known = (*Inputs._fields, *Outputs._fields)
    return _declared("controller/image.py", word) if word in known else []


def _declared(file: str, word: str) -> list[Place]:
    nodes = [n for n in ast.walk(tree(ROOT / file)) if isinstance(n, ast.AnnAssign)]
    return [_place(ROOT / file, n) for n in nodes if isinstance(n.target, ast.Name) and n.target.id == word]


def _event(word: str) -> list[Place]:
    calls = [(p, n) for p in _files("controller/events") for n in ast.walk(tree(p)) if isinstance(n, ast.Call)]
    return [_place(p, n) for p, n in calls if any(isinstance(a, ast.Constant) and a.value == word for a in n.args[:1])]


def _claim(word: str) -> list[Place]:
    if word not in {claim.name for claim in CLAIMS}:
        return []
    whole = [place for place, said in _constants() if said == word]
    return whole or [place for place, said in _constants() if len(said) > 4 and word.startswith(said)]


@cache
def _constants() -> list[tuple[Place, str]]:
    files = [path for path in _files("controller/engines") if "claims" in str(path)]
    nodes = [(p, n) for p in files for n in ast.walk(tree(p))]
    found = [(_place(p, n), n.value) for p, n in nodes if isinstance(n, ast.Constant)]
    return [(place, said) for place, said in found if isinstance(said, str)]


def _code(word: str) -> list[Place]:
    file, _, name = word.partition("::")
    path = ROOT / file
    if not path.is_file() or not name:
        return []
    return [_place(path, n) for n in _definitions(path) if _name_of(n) == name]


@cache
def _definitions(path: Path) -> list[ast.AST]:
    kinds = ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Assign | ast.AnnAssign
    return [node for node in ast.walk(tree(path)) if isinstance(node, kinds)]


def _name_of(node: ast.AST) -> str:
    target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", node)
    return getattr(target, "name", getattr(target, "id", ""))


def _test(word: str) -> list[Place]:
    file, _, name = word.partition("::")
    folder, _, stem = file.rpartition("/")
    end = f"/{folder}/test_{stem}.py" if folder else f"/test_{stem}.py"
    files = [path for path in _files("tests") if str(path).endswith(end)]
    return [_place(path, n) for path in files for n in _definitions(path) if _name_of(n) == f"test_{name}"]


FINDERS = {
    "fact": _fact, "row": _row, "interlock": _interlock, "output": _output, "refusal": _refusal,
    "preset": _preset, "point": _point, "event": _event, "claim": _claim, "code": _code, "test": _test,
}  # fmt: skip
