"""
Plant: the simulated receiver as one object, outputs in, inputs out.

Convenient for tests and for the live bench. A closed loop that runs compiled calls `io_sim.compiled` instead.
"""

from collections.abc import Callable
from typing import Any

from controller.image import FIELD_INPUTS, Inputs, Outputs
from io_sim import failures, kernel
from io_sim.constants import at_rest, derived, flat
from io_sim.parameters import PlantParameters, problems
from io_sim.state import State


class Plant:
    """
    The plant of one station, at power-up: empty, at atmosphere, supply charged.

    Time passes only in `advance`. The same parameters, seed, outputs and failures give the same inputs.
    """

    def __init__(
        self,
        parameters: PlantParameters | None = None,
        *,
        step_ms: int = 5,
        seed: int = 1,
        compiled: bool = False,
    ) -> None:
        """
        Build the plant.

        Args:
            parameters: What is simulated; the medium station if left out.
            step_ms: Length of a plant step, 1 to 10.
            seed: For transmitter noise and feed variation.
            compiled: Run the kernel through Numba; needs the extra `fast`.

        Raises:
            ValueError: The parameters contradict their limits or each other, or the step is out of range.
        """
        self.parameters = parameters or PlantParameters()
        found = problems(self.parameters)
        if not 1 <= step_ms <= 10:
            found.append(f"step_ms = {step_ms} is outside 1 .. 10: longer steps lose accuracy")
        if found:
            raise ValueError(f"{len(found)} problem(s) in the plant:\n  " + "\n  ".join(found))
        self.step_ms = step_ms
        self.derived = derived(self.parameters)
        self._advance: Callable[..., None] = kernel.advance
        self._floats: Callable[[list[float]], Any] = list
        self._ints: Callable[[list[int]], Any] = list
        if compiled:
            from io_sim.compiled import compiled_advance, float_array, int_array

            self._advance, self._floats, self._ints = compiled_advance(), float_array, int_array
        self._par = self._floats(flat(self.parameters))
        self._state = self._floats(at_rest(self.parameters, seed))
        self._failures = self._floats(failures.healthy())
        self._inputs = self._ints([int(value) for value in Inputs()])

    def advance(self, outputs: Outputs, ms: int, inputs: Inputs | None = None) -> Inputs:
        """
        Let `ms` pass with these outputs held, and read the instruments.

        Args:
            outputs: What the controller wrote.
            ms: Time to pass, a whole number of plant steps.
            inputs: Image to merge the field inputs into; the defaults of `Inputs` if left out.

        Raises:
            ValueError: `ms` is not a whole number of plant steps.
        """
        steps, rest = divmod(ms, self.step_ms)
        if rest or ms < 0:
            text = f"{ms} ms is not a whole number of plant steps of {self.step_ms} ms; change one"
            raise ValueError(text)
        held = self._ints([int(value) for value in outputs])
        self._advance(
            self._state, self._par, self._failures, held, self._inputs, steps, self.step_ms / 1_000.0
        )
        image = dict(zip(Inputs._fields, self._inputs, strict=True))
        currents = {name: int(image[name]) for name in FIELD_INPUTS if name.endswith("_ua")}
        contacts = {name: bool(image[name]) for name in FIELD_INPUTS if not name.endswith("_ua")}
        return Inputs(**{**(inputs or Inputs())._asdict(), **currents, **contacts})

    def fail(self, failure_id: str, amount: float = 1.0, over_s: float = 0.0) -> None:
        """
        Let a part fail by an amount of 0 (healthy) to 1: from now on, or creeping there over a time.

        Raises:
            ValueError: No such failure mode, the amount is outside 0..1, or the time is negative.
        """
        failures.put(self._failures, failure_id, amount, over_s)

    def amount(self, failure_id: str) -> float:
        """How far a part has failed by now; raises ValueError for an unknown failure mode."""
        return float(self._failures[failures.slot(failure_id)])

    def heal(self, failure_id: str) -> None:
        """Make a part healthy again; raises ValueError for an unknown failure mode."""
        failures.put(self._failures, failure_id, 0.0)

    @property
    def state(self) -> State:
        """Everything the plant remembers, by name."""
        return State(*(float(value) for value in self._state))

    def reading(self, name: str) -> float:
        """
        A physical value: any field of `State`, or one worked out from it.

        Worked out: vacuum_pa_v (body, dirty side), clean_vacuum_pa_v, filter_drop_pa, supply_pa_g, tank_pa_g,
        loading (solids / air in the line).

        Raises:
            ValueError: No such value; the text lists those there are.
        """
        state = self.state
        air_pa = self.derived.air_pa
        known: dict[str, float] = {
            **state._asdict(),
            "vacuum_pa_v": air_pa - state.body_pa,
            "clean_vacuum_pa_v": air_pa - state.clean_pa,
            "filter_drop_pa": state.body_pa - state.clean_pa,
            "supply_pa_g": state.header_pa - air_pa,
            "tank_pa_g": state.tank_pa - air_pa,
            "loading": state.arriving_kg_s / state.line_air_kg_s if state.line_air_kg_s > 0.0 else 0.0,
        }
        if name not in known:
            text = f"no reading {name!r}; there are: {', '.join(sorted(known))}"
            raise ValueError(text)
        return known[name]

    def set_state(self, **values: float) -> None:
        """
        Start from somewhere else than power-up: overwrite fields of `State` by name.

        Raises:
            ValueError: No such field.
        """
        for name, value in values.items():
            if name not in State._fields:
                text = f"no state {name!r}; there are: {', '.join(State._fields)}"
                raise ValueError(text)
            self._state[State._fields.index(name)] = value
