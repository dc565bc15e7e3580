"""
Failure modes: what can go wrong with each part, on which stations, and where its amount stands.

An amount of 0 is healthy and 1 is failed; between, the effect is in proportion unless the text says
otherwise. Parts and instruments apply the effect; nothing else in the simulator knows of failures. Amounts
are one flat array, made by `healthy`, in the order of the catalogue; behind them stand the targets and the
speeds of amounts that creep.
"""

from collections.abc import Iterable
from typing import NamedTuple

from controller.problems import did_you_mean
from io_sim.state import Floats

Needs = tuple[str, ...]
"""A preset and its choices under which the part is there ("yes", or ">0" of a time), or a point and "wired"."""


class FailureMode(NamedTuple):
    """One row of the catalogue."""

    id: str
    part: str
    effect: str
    seen: str  # what a person at the machine would notice
    needs: Needs = ()  # empty: on every station


class Contact(NamedTuple):
    """A contact that fails in four ways: stuck on, stuck off, chattering, delayed."""

    name: str
    on: str  # what "stuck on" is called, and how it reads
    off: str
    seen_on: str
    seen_off: str
    needs: Needs = ()


class Signal(NamedTuple):
    """A 4-20 mA signal that fails in six ways."""

    name: str
    needs: Needs = ()


M = FailureMode  # a row reads: M(id, part, effect, what a person sees, which station has it)
C = Contact

# fmt: off
WRITTEN = (
    # flap
    M("flap_sticks_open", "flap", "does not move towards closed, from any amount on", "flap hangs open, product falls through"),
    M("flap_sticks_closed", "flap", "does not move towards open, from any amount on", "flap stays shut, nothing falls"),
    M("flap_slow", "flap", "travel time x 6 at 1", "flap creeps"),
    M("product_on_seat", "flap", "closes only to 20 % open at 1", "lump on the seat, air whistles"),
    M("flap_leaking", "flap", "hole of 100 mm2 in the closed flap at 1", "dust at the flap, air sings; the gauge hardly shows it"),
    M("string_on_seat", "flap", "hole of 30 mm2 at 1; from 0.7 on vacuum rocks the closed flap off its switch", "sack string hangs out of the flap"),
    M("flap_hoses_swapped", "flap", "moves the wrong way, from 0.5 on", "opens when it should close, after a repair", ("flap_kind", "driven")),
    # line and feed
    M("line_blocked", "line", "pick-up closed in proportion", "hose sucks tight, gauge rises to dead end"),
    M("feed_empty", "line", "feed falls in proportion; hopper switch off from 0.5 on", "hopper empty, line rattles and runs clear"),
    M("inlet_hose_off", "line", "inlet open to the room, from 0.5 on", "hose on the floor, loud"),
    M("lance_lifted", "line", "draws air and less product in proportion", "lance out of the sack, nozzle hisses"),
    M("sack_liner_in_lance", "line", "suction pulls a liner onto the pick-up, which closes in proportion", "hose jerks tight, lets go when the source stops"),
    M("slugging_line", "line", "slugs of up to 15 kPa every 2.5 s while product moves", "hose kicks in time, gauge swings"),
    M("line_floods", "line", "feed x 3 and loading limit x 10 at 1", "product slides into the line, gauge climbs"),
    M("purge_valve_stuck_shut", "line", "purge valve does not open, in proportion", "no hiss at the feed point while clearing", ("purge_cmd", "wired")),
    M("purge_valve_stuck_open", "line", "false air at the feed point", "less product, more air", ("purge_cmd", "wired")),
    # body and vent
    M("vent_stuck_shut", "body", "vent does not open", "vacuum stays after the source stops", ("vent_close_cmd", "wired")),
    M("vent_stuck_open", "body", "vent does not close", "whistling vent, less vacuum", ("vent_close_cmd", "wired")),
    M("vent_filter_clogged", "body", "vent keeps a tenth of its opening at 1", "vent filter grey, release takes longer from week to week", ("vent_close_cmd", "wired")),
    M("body_leaking", "body", "hole of 500 mm2 in cover seal or inlet hose at 1", "air sings at the cover, drawing takes longer"),
    M("body_bridging", "body", "product flows out slower in proportion, at 1 not at all", "flap open, body thumped with a mallet"),
    M("fluidising_dead", "body", "fluidising air does nothing, in proportion", "product comes in lumps", ("fluidise_on_ms", ">0")),
    # vacuum source
    M("source_dead", "vacuum_source", "valve stays shut in proportion; motor does not start, from 0.5 on", "silence at the source"),
    M("source_weak", "vacuum_source", "flow and dead end fall by 70 % at 1", "worn, or its silencer clogged: draws lamely"),
    M("ejector_iced", "vacuum_source", "flow and dead end sink by up to 80 %, time constant 20 minutes of running; thaws at rest (2 minutes), so batch work settles at less", "frost at the exhaust on long runs", ("source_kind", "ejector")),
    M("motor_overload", "vacuum_source", "overload relay trips, from 0.5 on; healed: reset", "motor off, relay tripped", ("source_kind", "motor")),
    M("motor_wrong_rotation", "vacuum_source", "turns backwards: a fifth of flow and dead end at 1", "runs, hardly draws, after cable work", ("source_kind", "motor")),
    M("contactor_welded", "vacuum_source", "stays closed once closed, from 0.5 on", "motor runs on after off", ("source_kind", "motor")),
    M("bypass_stuck_shut", "vacuum_source", "bypass does not open, in proportion", "motor draws on the body all the time", ("bypass_fitted", "yes")),
    M("bypass_stuck_open", "vacuum_source", "bypass does not close, in proportion", "motor runs, bypass hisses, no vacuum", ("bypass_fitted", "yes")),
    M("source_valve_passing", "vacuum_source", "valve keeps 30 % open at 1", "hiss and some vacuum at rest", ("source_kind", "ejector")),
    # pulse tanks
    M("pulse_valve_stuck_open", "pulse_tank", "valve of the first group stays open in proportion", "steady hiss, tanks empty"),
    M("pulse_valve_stuck_shut", "pulse_tank", "valve of the first group does not open, in proportion", "no thump, gauge does not nod"),
    M("pulse_valve_passing", "pulse_tank", "valve of the first group keeps 2 % open at 1", "faint hiss, tank low before its pulse"),
    M("tank_not_charging", "pulse_tank", "fill lines shut in proportion", "first pulse good, then none"),
    # filters
    M("filter_blinded", "filters", "drag x 8 at 1", "exhaust weak, line slow, vacuum low at the body"),
    M("filter_blinding", "filters", "1 % of the dust caught stays for good at 1; 0.01 % to 0.1 % is usual", "exhaust weaker from week to week"),
    M("filter_torn", "filters", "drag and dust caught fall by 90 % at 1", "dust at the exhaust, powder in the source"),
    M("filter_not_refitted", "filters", "from 0.5 on an element is missing: drag a fiftieth, dust and a tenth of the product pass", "exhaust blows product after a wash"),
    M("filter_wet", "filters", "pulses clean 90 % less and drag x 3 at 1", "cake sticks, worst on damp mornings"),
    # supply air
    M("supply_falls", "supply_air", "network falls at its ramp", "gauge drops, ejector dies away"),
    M("supply_falls_slowly", "supply_air", "network falls at a fiftieth of its ramp", "gauge sinks over minutes"),
    M("supply_dumped", "supply_air", "safe exhaust empties network and header, from 0.5 on", "bang of the exhaust valve, gauge at nothing"),
    M("supply_half_shut", "supply_air", "line keeps a quarter at 1", "gauge fine at rest, drops on draw"),
    M("neighbour_draws", "supply_air", "another machine dips the header by about 0.7 bar for 0.5 s, every 20 s", "gauge nods in time with the neighbour"),
    M("compressor_band", "supply_air", "network saw-tooth of 1.5 bar at 1, 2 min", "gauge climbs and sinks with the compressor"),
    # vessel below
    M("vessel_not_consuming", "vessel_below", "demand falls in proportion", "vessel stays full"),
    M("vessel_not_vented", "vessel_below", "vent sock blind: air of the vessel leaves through the flap", "flap breathes dust, product falls in gulps"),
    M("vessel_pressurised", "vessel_below", "4 kPa over the room at 1", "steam or air blows up through the flap"),
    M("vessel_rat_hole", "vessel_below", "product at the high probe stays where it is, from 0.5 on", "hole in the middle, wall of product at the probe"),
    M("vessel_tipped_into", "vessel_below", "other product comes in: at 1 fills it in a minute", "somebody tips sacks into the vessel"),
    M("heap_under_flap", "vessel_below", "heap up to three times as steep", "cone up to the flap, wall of the vessel bare"),
    # impulse lines and switches
    M("vacuum_line_caked", "instruments", "vacuum follows with a lag of 30 s at 1", "gauge crawls after the machine", ("vacuum_by", "transmitter", "switch")),
    M("filter_dp_line_caked", "instruments", "filter dp follows with a lag of 30 s at 1", "gauge crawls after the machine", ("dp_fitted", "yes")),
    M("flap_closed_switch_loose", "instruments", "flickers while the source starts and stops", "lamp flickers at every start", ("flap_feedback", "both", "closed_only")),
    M("flap_closed_switch_shifted", "instruments", "makes up to a third of the stroke too early", "switch on, flap not quite shut", ("flap_feedback", "both", "closed_only")),
)

CONTACTS = (
    C("level_probe", "free", "covered", "vessel heaps up, probe says free", "vessel low, probe says full"),
    C("low_level_probe", "covered", "free", "vessel empty, low probe says covered", "vessel full, low probe says free", ("level_low_fitted", "yes")),
    C("receiver_full_probe", "free", "covered", "body overfills", "batch ends at once", ("receiver_full_fitted", "yes")),
    C("flap_closed_switch", "on", "off", "flap open, lamp says closed", "flap shut, lamp dark", ("flap_feedback", "both", "closed_only")),
    C("flap_open_switch", "on", "off", "flap shut, lamp says open", "flap open, lamp dark", ("flap_feedback", "both", "open_only")),
    C("vacuum_switch", "on", "off", "no vacuum, lamp on", "vacuum, lamp dark", ("vacuum_by", "switch")),
    C("supply_switch", "on", "off", "no air, lamp on", "gauge good, lamp dark", ("supply_by", "switch", "both")),
    C("run_contact", "on", "off", "motor stands, lamp on", "motor runs, lamp dark", ("run_feedback_fitted", "yes")),
    C("overload_contact", "on", "off", "relay tripped, lamp good", "motor cool, lamp says tripped", ("overload_fitted", "yes")),
    C("feed_switch", "on", "off", "hopper empty, lamp on", "hopper full, lamp dark", ("feed_low_fitted", "yes")),
)
"""Every contact of the field, in the order of their places in the state."""

SIGNALS = (
    Signal("vacuum", ("vacuum_by", "transmitter")),
    Signal("supply_pressure", ("supply_by", "transmitter", "both")),
    Signal("filter_dp", ("dp_fitted", "yes")),
)
# fmt: on

OF_A_CONTACT, OF_A_SIGNAL = 4, 6  # failure modes of each, in the order of the two functions below


def of_a_contact(contact: Contact) -> tuple[FailureMode, ...]:
    """The four failure modes of a contact."""
    name, on, off, seen_on, seen_off, needs = contact
    part = "instruments"
    return (
        M(f"{name}_stuck_{on}", part, "contact stays on, from any amount on", seen_on, needs),
        M(f"{name}_stuck_{off}", part, "contact stays off, from any amount on", seen_off, needs),
        M(
            f"{name}_chattering",
            part,
            "wrong for half of each 0.12 s at 1, of longer below",
            "flickers",
            needs,
        ),
        M(f"{name}_delayed", part, "both edges 5 s late at 1", "lamp lags behind the machine", needs),
    )


def of_a_signal(signal: Signal) -> tuple[FailureMode, ...]:
    """The six failure modes of a 4-20 mA signal."""
    name, needs = signal
    part = "instruments"
    return (
        M(f"{name}_broken_wire", part, "current is 0, from any amount on", "display dashes", needs),
        M(f"{name}_shorted", part, "current is 22 mA, from any amount on", "display over its end", needs),
        M(f"{name}_frozen", part, "current keeps its value, from any amount on", "display never moves", needs),
        M(f"{name}_drifting", part, "reads 20 % of span too much at 1", "display not at zero at rest", needs),
        M(
            f"{name}_drifting_down",
            part,
            "reads 20 % of span too little at 1",
            "display under zero at rest",
            needs,
        ),
        M(f"{name}_noisy", part, "noise of 5 % of span at 1", "display dances", needs),
    )


CATALOGUE: tuple[FailureMode, ...] = (
    *WRITTEN,
    *(mode for contact in CONTACTS for mode in of_a_contact(contact)),
    *(mode for signal in SIGNALS for mode in of_a_signal(signal)),
)
SLOTS = {mode.id: place for place, mode in enumerate(CATALOGUE)}
MODES = len(CATALOGUE)
TARGETS, SPEEDS, CREEPING = MODES, 2 * MODES, 3 * MODES  # places behind the amounts; the last counts


def slot(failure_id: str, beside: Iterable[str] = ()) -> int:
    """
    Where the amount of a failure mode stands in the flat array.

    Raises:
        ValueError: No such failure mode; the text says the nearest, also of those `beside`.
    """
    if failure_id not in SLOTS:
        near = did_you_mean(failure_id, [*SLOTS, *beside], most=3) or "."
        text = f"no failure mode {failure_id!r}{near} All of them: docs/failure_modes.md"
        raise ValueError(text)
    return SLOTS[failure_id]


def healthy() -> Floats:
    """Amounts with nothing failed and nothing creeping."""
    return [0.0] * (CREEPING + 1)


def put(amounts: Floats, failure_id: str, amount: float, over_s: float = 0.0) -> None:
    """
    Give a failure mode its amount, at once or evenly over a time, in an array made by `healthy`.

    Raises:
        ValueError: No such failure mode, the amount is outside 0..1, or the time is negative.
    """
    place = slot(failure_id)
    if not 0.0 <= amount <= 1.0:
        text = f"amount {amount:g} of {failure_id} is outside 0 .. 1"
        raise ValueError(text)
    if over_s < 0.0:
        text = f"{failure_id} over {over_s:g} s: a time cannot be negative; 0 is at once"
        raise ValueError(text)
    if over_s == 0.0:
        amounts[place] = amount
    amounts[TARGETS + place] = amount
    amounts[SPEEDS + place] = (amount - amounts[place]) / over_s if over_s > 0.0 else 0.0
    amounts[CREEPING] = float(sum(1 for i in range(MODES) if amounts[SPEEDS + i] != 0.0))


def creep(amounts: Floats, step_s: float) -> None:
    """Move amounts that are on their way to their targets by one step."""
    for i in range(MODES):
        speed = amounts[SPEEDS + i]
        if speed != 0.0:
            amount = amounts[i] + speed * step_s
            target = amounts[TARGETS + i]
            if (amount - target) * speed >= 0.0:
                amount = target
                amounts[SPEEDS + i] = 0.0
                amounts[CREEPING] -= 1.0
            amounts[i] = amount
