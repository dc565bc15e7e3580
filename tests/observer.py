"""Every fact and every claim of every scan, quickly: the generated text, compiled, asked for all it works out."""

import hashlib
import importlib.util
import sys
from collections.abc import Callable
from dataclasses import replace

from controller.engines import generated
from controller.engines.claims import CLAIMS, Watched
from controller.engines.compiled import cache_folder
from controller.sequence.definition import Definition, fact
from controller.sequence.logic import Logic


def with_claims(definition: Definition) -> Logic:
    """The logic with both sides of each claim as facts, `meant_<n>` and `kept_<n>`."""
    sides = {f"meant_{n}": fact(c.when) for n, c in enumerate(CLAIMS) if c.when}
    sides |= {f"kept_{n}": fact(c.then) for n, c in enumerate(CLAIMS)}
    return Logic(replace(definition, facts=type("Claimed", (Watched,), sides)))


class _Everything(generated._Text):
    def _needed(self):
        return list(self.logic.facts.values())

    def whole(self) -> str:
        text = super().whole().replace("acts):", "acts, facts):", 1)
        return text + "".join(
            f"    facts[{n}] = {self.stored(name)}\n" for n, name in enumerate(self.logic.facts)
        )


def observing(logic: Logic) -> Callable[..., None]:
    """`scan(memory, inputs, presets, dt_ms, outputs, acts, facts)`: a scan in place, all facts in order."""
    from numba import int64, njit, void

    text = _Everything(logic, branch_free=True, options={}).whole()
    key = hashlib.sha256(text.encode()).hexdigest()[:16]
    path = cache_folder() / f"observed_{key}.py"
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.exists():
        path.write_text(text)
    spec = importlib.util.spec_from_file_location(path.stem, path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[path.stem] = module
    spec.loader.exec_module(module)
    array = int64[::1]
    return njit(void(array, array, array, int64, array, array, array), cache=True)(module.scan)
