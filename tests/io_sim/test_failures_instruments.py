"""Every contact and every 4-20 mA signal fails in its ways, and in no other."""

import itertools
import statistics

import pytest

from controller.image import FAILED_HIGH_UA, FAILED_LOW_UA, FIELD_INPUTS, Outputs
from io_sim.failures import CONTACTS, OF_A_CONTACT, SIGNALS, SLOTS, of_a_contact, of_a_signal
from io_sim.plant import Plant
from io_sim.state import Floats
from io_sim.switches import CHATTER_S, DELAYED_S

REST = Outputs()
INPUT = dict(zip([contact.name for contact in CONTACTS], (
    "level_free", "level_low_covered", "receiver_free", "flap_closed_fb", "flap_open_fb", "vacuum_switch",
    "supply_air_ok", "source_running_fb", "overload_healthy", "feed_present",
), strict=True))  # fmt: skip
CURRENT = {"vacuum": "vacuum_ua", "supply_pressure": "supply_air_ua", "filter_dp": "filter_dp_ua"}
SPAN_UA = 16_000


def instant(quiet, **values: float) -> Plant:
    """A plant whose pressure switches have no filter, in a state of its own."""
    plant = Plant(quiet._replace(switch_filter_s=0.0))
    plant.set_state(**values)
    return plant


# what turns a contact over from its reading at rest
CAUSE: dict[str, dict[str, float]] = {
    "level_probe": {"vessel_kg": 60.0},
    "low_level_probe": {"vessel_kg": 60.0},
    "receiver_full_probe": {"body_kg": 9.0},
    "flap_closed_switch": {"flap_open": 1.0},
    "flap_open_switch": {"flap_open": 1.0},
    "vacuum_switch": {"vacuum_seen_pa_v": 20e3},
    "supply_switch": {"supply_seen_pa_g": 2e5},
    "run_contact": {"contactor_closed": 1.0, "source_open": 1.0},
    "overload_contact": {"overload_tripped": 1.0},
    "feed_switch": {},
}


def caused(quiet, name: str, failure: str = "", amount: float = 1.0) -> bool:
    plant = instant(quiet, **CAUSE[name])
    if name == "feed_switch":
        plant.fail("feed_empty")
    if failure:
        plant.fail(failure, amount)
    return bool(getattr(plant.advance(REST, 0), INPUT[name]))


def rested(quiet, name: str, failure: str = "") -> bool:
    plant = instant(quiet)
    if failure:
        plant.fail(failure)
    return bool(getattr(plant.advance(REST, 10), INPUT[name]))


def test_every_field_input_has_an_instrument_that_fails():
    assert set(INPUT.values()) | set(CURRENT.values()) == set(FIELD_INPUTS)
    assert set(CURRENT) == {signal.name for signal in SIGNALS}


@pytest.mark.parametrize("contact", CONTACTS, ids=lambda contact: contact.name)
def test_contact_follows_its_cause_and_stuck_ones_do_not(quiet, contact):
    stuck_on, stuck_off = (mode.id for mode in of_a_contact(contact)[:2])
    at_rest = rested(quiet, contact.name)

    assert caused(quiet, contact.name) is not at_rest
    assert caused(quiet, contact.name, stuck_on)
    assert rested(quiet, contact.name, stuck_on)
    assert not caused(quiet, contact.name, stuck_off)
    assert not rested(quiet, contact.name, stuck_off)


@pytest.mark.parametrize("contact", CONTACTS, ids=lambda contact: contact.name)
def test_chattering_contact_is_wrong_for_half_the_time(quiet, contact):
    plant = instant(quiet)
    healthy = rested(quiet, contact.name)
    plant.fail(f"{contact.name}_chattering", 0.5)
    seen = [bool(getattr(plant.advance(REST, 10), INPUT[contact.name])) for _ in range(480)]
    flips = sum(a != b for a, b in itertools.pairwise(seen))

    assert seen.count(not healthy) == pytest.approx(240, abs=10)
    assert flips == pytest.approx(2 * 4.8 / (CHATTER_S / 0.5), abs=2)


@pytest.mark.parametrize("contact", CONTACTS, ids=lambda contact: contact.name)
def test_delayed_contact_comes_late_and_leaves_late(quiet, contact):
    """Both edges; a cause that is gone again before the delay is over is never seen."""
    from io_sim.switches import report

    number = CONTACTS.index(contact)
    state, failures, image = list(Plant(quiet).state), [0.0] * len(SLOTS), [0]
    failures[SLOTS[f"{contact.name}_delayed"]] = 0.4

    def read(on: bool, seconds: float) -> list[int]:
        shown = []
        for _ in range(round(seconds / 0.01)):
            report(state, failures, image, 0, number, on, 0.0, 0.01)
            shown.append(image[0])
        return shown

    read(False, 10.0)
    assert not any(read(True, 1.5))
    assert not any(read(False, 1.0))
    on = read(True, 5.0)
    off = read(False, 5.0)

    assert on.index(1) == pytest.approx(0.4 * DELAYED_S / 0.01, abs=2)
    assert all(on[on.index(1) :])
    assert off.index(0) == pytest.approx(0.4 * DELAYED_S / 0.01, abs=2)
    assert not any(off[off.index(0) :])


def test_failures_of_one_contact_leave_the_others_alone(quiet):
    healthy = instant(quiet).advance(REST, 10)
    for contact in CONTACTS:
        plant = instant(quiet)
        for mode in of_a_contact(contact)[:OF_A_CONTACT]:
            plant.fail(mode.id)
        others = [name for name in FIELD_INPUTS if name != INPUT[contact.name]]
        inputs = plant.advance(REST, 10)
        assert [getattr(inputs, name) for name in others] == [getattr(healthy, name) for name in others]


def currents(quiet, signal: str, failure: str = "", amount: float = 1.0, scans: int = 1) -> Floats:
    """Readings of held pressures: no time passes between them."""
    plant = instant(quiet, vacuum_seen_pa_v=30e3, supply_seen_pa_g=5e5, filter_dp_seen_pa=8e3)
    if failure:
        plant.fail(f"{signal}_{failure}", amount)
    return [float(getattr(plant.advance(REST, 0), CURRENT[signal])) for _ in range(scans)]


@pytest.mark.parametrize("signal", CURRENT)
def test_broken_and_shorted_loops_are_outside_the_failure_limits(quiet, signal):
    """NAMUR NE 43: 3.6 mA and less, 21 mA and more, is a failure."""
    assert currents(quiet, signal, "broken_wire")[0] <= FAILED_LOW_UA == 3_600
    assert currents(quiet, signal, "shorted")[0] >= FAILED_HIGH_UA == 21_000


@pytest.mark.parametrize("signal", CURRENT)
def test_drift_moves_the_zero_by_a_share_of_the_span_and_stays_inside_the_measuring_range(quiet, signal):
    """NAMUR NE 43: a drifting transmitter still measures, 3.8 .. 20.5 mA."""
    healthy = currents(quiet, signal)[0]
    up, down = currents(quiet, signal, "drifting", 0.1)[0], currents(quiet, signal, "drifting_down", 0.1)[0]

    assert up - healthy == pytest.approx(0.02 * SPAN_UA, abs=3)
    assert healthy - down == pytest.approx(0.02 * SPAN_UA, abs=3)
    assert 3_800 <= currents(quiet, signal, "drifting_down")[0] < healthy


@pytest.mark.parametrize("signal", CURRENT)
def test_noise_has_the_stated_spread(quiet, signal):
    seen = currents(quiet, signal, "noisy", 0.2, scans=2_000)

    assert statistics.stdev(seen) == pytest.approx(0.01 * SPAN_UA, rel=0.06)


@pytest.mark.parametrize("signal", CURRENT)
def test_frozen_current_keeps_its_last_value(quiet, signal):
    plant = Plant(quiet)
    before = plant.advance(REST, 10)
    plant.fail(f"{signal}_frozen")
    after = plant.advance(Outputs(source_cmd=True, vent_close_cmd=True), 5_000)

    assert getattr(after, CURRENT[signal]) == getattr(before, CURRENT[signal])
    plant.heal(f"{signal}_frozen")
    healed = plant.advance(Outputs(source_cmd=True, vent_close_cmd=True), 10)
    assert abs(getattr(healed, CURRENT[signal]) - getattr(before, CURRENT[signal])) > 100


def test_a_signal_has_no_failure_that_is_not_tried_here():
    kinds = {"broken_wire", "shorted", "frozen", "drifting", "drifting_down", "noisy"}
    for signal in SIGNALS:
        assert {mode.id.removeprefix(f"{signal.name}_") for mode in of_a_signal(signal)} == kinds


def test_caked_impulse_line_lags_by_half_a_minute(quiet):
    """First order: 63 % of a step after one time constant; here about 4.4 kPa of air-only vacuum."""
    air = Outputs(source_cmd=True, vent_close_cmd=True)
    plant = Plant(quiet)
    plant.fail("vacuum_line_caked")
    late = plant.advance(air, 30_000)

    assert (late.vacuum_ua - 4_000) * 6.25 / plant.reading("vacuum_pa_v") == pytest.approx(0.62, abs=0.03)


def test_caked_line_of_the_filter_drop_lags_as_well(quiet):
    air = Outputs(source_cmd=True, vent_close_cmd=True)
    plant, other = Plant(quiet), Plant(quiet)
    plant.fail("filter_dp_line_caked", 0.5)

    assert plant.advance(air, 5_000).filter_dp_ua - 4_000 < 0.4 * (
        other.advance(air, 5_000).filter_dp_ua - 4_000
    )


def test_loose_closed_switch_flickers_while_the_source_starts(quiet):
    """Common practice, no source: 20-80 ms, within 300 ms of the start."""
    plant = Plant(quiet)
    plant.fail("flap_closed_switch_loose")
    seen = [plant.advance(Outputs(source_cmd=True), 10).flap_closed_fb for _ in range(100)]
    gaps = "".join(".x"[not closed] for closed in seen).split(".")
    longest = max(len(gap) for gap in gaps)

    assert 2 <= longest <= 8
    assert sum(1 for gap in gaps if gap) >= 2
    assert all(seen[30:])


def test_shifted_closed_switch_takes_an_ajar_flap_for_closed(quiet):
    plant = Plant(quiet)
    plant.advance(Outputs(flap_open_cmd=True), 1_000)
    plant.fail("product_on_seat")
    assert not plant.advance(REST, 2_000).flap_closed_fb
    plant.fail("flap_closed_switch_shifted")

    assert plant.advance(REST, 10).flap_closed_fb
    assert plant.reading("flap_open") > 0.15
