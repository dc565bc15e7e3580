"""
Kernel: the whole plant, step by step, over flat arrays.

The same text runs interpreted (lists) and compiled (arrays, see `io_sim.compiled`). The parts are called in a
fixed order: valves and flap, compressed air, gas, product, dust, vessel, instruments.
"""

from io_sim.body import move_gas, move_vent
from io_sim.failures import CREEPING, MODES, creep
from io_sim.filters import move_dust
from io_sim.flap import move_cylinder, move_flap
from io_sim.line import move_pick_up, move_product, move_purge
from io_sim.pulse_tank import move_tanks
from io_sim.state import CLOCK_S, Floats, Ints
from io_sim.supply_air import move_supply
from io_sim.switches import read_contacts
from io_sim.transmitters import fades, follow, read_signals
from io_sim.vacuum_source import move_source
from io_sim.vessel_below import move_vessel


def step_plant(state: Floats, par: Floats, failures: Floats, outputs: Ints, step_s: float) -> None:
    """Move everything but the instruments by one step."""
    state[CLOCK_S] += step_s
    move_source(state, par, failures, outputs, step_s)
    move_vent(state, par, failures, outputs, step_s)
    move_purge(state, par, failures, outputs, step_s)
    move_pick_up(state, par, failures)
    move_cylinder(state, par, failures, outputs, step_s)
    move_flap(state, par, failures, step_s)
    move_tanks(state, par, failures, outputs, step_s)
    move_supply(state, par, failures, step_s)
    move_gas(state, par, failures, step_s)
    move_product(state, par, failures, outputs, step_s)
    move_dust(state, par, failures, step_s)
    move_vessel(state, par, failures, outputs, step_s)


def advance(
    state: Floats, par: Floats, failures: Floats, outputs: Ints, inputs: Ints, steps: int, step_s: float
) -> None:
    """
    Advance the plant by `steps` steps with the outputs held, then read its instruments.

    Args:
        state: Flat `State`, changed in place.
        par: Flat parameters and derived constants, from `io_sim.constants.flat`.
        failures: Amounts of the failure modes, from `io_sim.failures.healthy`; the amounts alone are enough
            where none creeps.
        outputs: Flat `controller.image.Outputs`, 0 or 1.
        inputs: Flat `controller.image.Inputs`; only the field inputs are written, contacts as
            0 or 1, currents in uA.
        steps: Number of plant steps.
        step_s: Length of a step [s].
    """
    vacuum_fade, supply_fade, dp_fade = fades(par, failures, step_s)
    creeps = len(failures) > MODES
    for _ in range(steps):
        if creeps and failures[CREEPING] > 0.0:
            creep(failures, step_s)
            vacuum_fade, supply_fade, dp_fade = fades(par, failures, step_s)
        step_plant(state, par, failures, outputs, step_s)
        follow(state, par, failures, vacuum_fade, supply_fade, dp_fade)
    read_contacts(state, par, failures, inputs, steps * step_s)
    read_signals(state, par, failures, inputs)
