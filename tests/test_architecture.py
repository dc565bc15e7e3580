"""Who may know whom, where time comes from, and what must not stand in the repository."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCES = [path for top in ("controller", "io_sim") for path in sorted((ROOT / top).rglob("*.py"))]
CONTROLLER = [path for path in SOURCES if path.is_relative_to(ROOT / "controller")]
SIMULATOR = [path for path in SOURCES if path.is_relative_to(ROOT / "io_sim")]
KNOWN_TO_THE_SIMULATOR = {
    "controller.clock",
    "controller.events",
    "controller.image",
    "controller.modbus.exchange",
    "controller.modbus.point_map",
    "controller.points",
    "controller.port",
    "controller.records",
    "controller.problems",
    "controller.station_file",
    "controller.station_keys",
    "controller.strict_yaml",
    "controller.units",
}
KNOW_THE_SIMULATOR = {"app", "simulate", "station_check", "campaign", "testing"}
ASKS_FOR_THE_TIME = {
    ("time", "time"),
    ("time", "time_ns"),
    ("time", "monotonic"),
    ("time", "monotonic_ns"),
    ("time", "perf_counter"),
    ("time", "sleep"),
    ("datetime", "now"),
    ("datetime", "today"),
    ("datetime", "utcnow"),
    ("date", "today"),
}
FOLDERS = ("controller", "io_sim", "tests", "configs", "docs", ".ci")
WRITTEN = [
    path
    for path in [*ROOT.glob("*"), *(found for folder in FOLDERS for found in (ROOT / folder).rglob("*"))]
    if path.is_file() and path.suffix not in (".pyc", ".svg", ".png") and path.name != ".git"
    and not path.name.startswith(".coverage")
]  # fmt: skip


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def is_root(path: Path) -> bool:
    """A composition root, module or package: sees the controller and the simulator."""
    return path.relative_to(ROOT / "controller").parts[0].removesuffix(".py") in KNOW_THE_SIMULATOR


def run(code: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def imported(path: Path) -> list[tuple[int, str]]:
    """Every module that a file imports, at its top or inside a function, with the line."""
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(node.lineno, alias.name) for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            if node.module in ("controller", "io_sim"):
                found += [(node.lineno, f"{node.module}.{alias.name}") for alias in node.names]
            else:
                found.append((node.lineno, node.module))
    return found


def test_the_import_contracts_hold():
    command = str(Path(sys.executable).with_name("lint-imports"))
    done = subprocess.run([command, "--no-logo"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.parametrize("path", SIMULATOR, ids=name)
def test_the_simulator_imports_only_the_contract_of_the_controller(path):
    for line, module in imported(path):
        if module.split(".")[0] == "controller":
            assert module in KNOWN_TO_THE_SIMULATOR, f"{name(path)}:{line} imports {module}"


@pytest.mark.parametrize("path", [p for p in CONTROLLER if not is_root(p)], ids=name)
def test_only_the_roots_know_the_simulator(path):
    for line, module in imported(path):
        if module.split(".")[0] == "io_sim":
            pytest.fail(f"{name(path)}:{line} imports {module}")


@pytest.mark.parametrize("path", [p for p in SOURCES if name(p) != "controller/clock.py"], ids=name)
def test_only_the_clock_asks_for_the_time(path):
    """A run can be replayed only while time comes in through `Clock`."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
            assert (node.value.id, node.attr) not in ASKS_FOR_THE_TIME, f"{name(path)}:{node.lineno}"
        if isinstance(node, ast.ImportFrom) and node.module == "time":
            pytest.fail(f"{name(path)}:{node.lineno} imports from time")


def test_the_clock_is_seen_to_ask_for_the_time():
    """The rule above can fail: the one module that breaks it on purpose is caught by it."""
    with pytest.raises(AssertionError, match=r"controller/clock\.py:\d+"):
        test_only_the_clock_asks_for_the_time(ROOT / "controller" / "clock.py")


def test_importing_the_plant_loads_neither_logic_nor_drivers():
    heavy = ("controller.sequence", "controller.engines", "transitions", "pymodbus", "aiomqtt", "z3", "numba")
    code = f"import sys, io_sim.plant; print([m for m in {heavy} if m in sys.modules])"
    assert run(code) == "[]"


def test_the_controller_works_without_the_simulator():
    modules = [
        name(path).removesuffix(".py").replace("/", ".").removesuffix(".__init__")
        for path in CONTROLLER
        if not is_root(path)
    ]
    code = "import sys, importlib; sys.modules['io_sim'] = None; "
    assert run(f"{code}[importlib.import_module(module) for module in {modules}]") == ""


def test_the_controller_loads_no_compiler_prover_or_plotter_until_asked():
    code = (
        "import sys, controller.cli, controller.settings, controller.sequence.receiver; "
        "print([m for m in ('numba', 'numpy', 'z3', 'matplotlib') if m in sys.modules])"
    )
    assert run(code) == "[]"


def of_one_machine(line: str) -> bool:
    machine = r"(?<![\w.])/(?:root|home|Users|work|tmp)/\w|[A-Z]:\\\\?Users"
    registry = r"https?://[^\s\"']*\b(?:pypi|pythonhosted|npmjs|conda|docker)\b"
    return re.search(f"{machine}|{registry}", line) is not None


@pytest.mark.parametrize("line", ["cd /home/anna/receiver", r"C:\Users\anna", "https://pypi.example/simple"])
def test_a_path_of_one_machine_and_a_registry_are_recognised(line):
    assert of_one_machine(line)
    assert not of_one_machine("controller/home/x, configs/tmp/x, pypi, https://json-schema.org/draft")


def test_no_file_names_a_machine_or_a_registry():
    found = [
        f"{name(path)}:{number}: {line.strip()}"
        for path in WRITTEN
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if of_one_machine(line) and path != Path(__file__)
    ]
    assert found == []


def test_no_file_is_longer_than_400_lines():
    lengths = {name(path): path.read_text(encoding="utf-8").count("\n") for path in WRITTEN}
    long = {path: lines for path, lines in lengths.items() if lines > 400 and not path.endswith(".json")}
    assert long == {}
