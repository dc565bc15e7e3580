"""
Outputs held and inputs forced from the panel socket, on the real sequence, scan by scan.

What must hold is the control narrative's section on manual mode: one output at a time, renewed within 500 ms,
after the horn, under the last word.
"""

import pytest
from bench import BENCHES
from panel.rigs import BenchRig

from controller.panel.caller import Caller
from controller.panel.holding import Holding
from controller.panel.messages import ForceAsked, HoldAsked
from controller.sequence.steps import FAULT, REST

HORN_MS, RENEW_MS = 3_000, 500
ME, OTHER = Caller("alice"), Caller("bob")
PURGE = HoldAsked(ask="hold", output="purge_cmd")
MOVES = {"source", "bypass_close", "flap_open", "flap_close", "vent_close", "pulse_1", "purge", "feed"}


def flap(by=None):
    return HoldAsked(ask="hold", output="flap_open_cmd", area_clear_by=by)


def force(point="level_free", value=0):
    return ForceAsked(ask="force", point=point, value=value, area_clear_by="A. Miller")


async def in_manual(real=False):
    rig = BenchRig(real=real)
    assert await rig.request("manual") == ()
    return rig, Holding(rig)


async def renewed(rig, holding, for_ms, asked=None, every_ms=200):
    """Renews as a client does; gives the last answer."""
    for _ in range(for_ms // every_ms):
        answer = await holding.hold(ME, asked or flap())
        rig.run(every_ms)
    return answer


async def test_nothing_is_held_outside_manual_mode():
    rig = BenchRig()
    holding = Holding(rig)
    answer = await holding.hold(ME, flap())
    assert answer.answer == "refused"
    assert answer.reasons == ("manual mode is off: ask for manual first",)
    rig.run(1_000)
    assert not rig.bench.on & MOVES


async def test_the_horn_sounds_its_time_before_the_output_is_energised():
    rig, holding = await in_manual()
    horn_ms = 0
    while "flap_open" not in rig.bench.on:
        assert rig.bench.now_ms < 60_000
        assert not rig.bench.on & MOVES
        if rig.bench.now_ms % 200 == 0:
            await holding.hold(ME, flap())
        rig.run(10)
        horn_ms += 10 * ("horn" in rig.bench.on)
    assert horn_ms >= HORN_MS - 10  # the scan that enters the mode sounds the first 10 ms
    assert "horn" not in rig.bench.on


async def test_it_stays_on_while_renewed_and_falls_when_renewals_stay_away():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    assert rig.status().held_on
    await renewed(rig, holding, 5_000)
    assert rig.status().held_on
    rig.run(RENEW_MS - 200 + 10)  # it was heard in the scan after it was asked
    assert "flap_open" not in rig.bench.on, "renewed 500 ms ago"


async def test_a_renewal_that_comes_too_late_takes_up_nothing():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    rig.run(700)
    answer = await holding.hold(ME, flap())
    rig.run(100)
    assert answer.answer == "refused"
    assert "not renewed within 500 ms" in answer.reasons[0]
    assert not rig.bench.on & MOVES


async def test_let_go_it_falls_within_the_renewal_time_and_the_next_may_be_held():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    holding.release(ME)
    rig.run(RENEW_MS)
    assert not rig.bench.on & MOVES
    await renewed(rig, holding, HORN_MS + 400, PURGE)
    assert rig.bench.on & MOVES == {"purge"}


@pytest.mark.parametrize("asked", [flap(), PURGE], ids=["the same output", "another"])
@pytest.mark.parametrize("later_ms", [10, 1_000, 55_000])
async def test_before_each_hold_the_horn_sounds_its_whole_time(asked, later_ms):
    """Whoever heard the first one does not know what moves next, nor when."""
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    holding.release(ME)
    rig.run(later_ms)
    horn_ms, name = 0, asked.output.removesuffix("_cmd")
    while (await holding.hold(ME, asked)).horn_ms or name not in rig.bench.on:
        for _ in range(20):
            rig.run(10)
            assert "horn" in rig.bench.on or not rig.bench.on & MOVES or horn_ms >= HORN_MS - 20
            assert not ("horn" in rig.bench.on and rig.bench.on & MOVES)
            horn_ms += 10 * ("horn" in rig.bench.on)
        assert horn_ms <= HORN_MS
    assert horn_ms >= HORN_MS - 20, "but for the scan that entered manual mode"


async def test_a_hold_asked_for_while_the_horn_of_manual_mode_sounds_has_its_own_all_the_same():
    rig, holding = await in_manual()
    rig.run(HORN_MS - 100)
    assert (await holding.hold(ME, flap())).horn_ms == HORN_MS


@pytest.mark.parametrize("horn_ms", [0, 100, 400, 3_000])
async def test_with_any_horn_that_can_be_set_an_output_can_be_held(horn_ms):
    """A horn shorter than the renewal time: the sequence wants the output let go for that time first."""
    bench = BENCHES.fitted(warning_ms=horn_ms).at(REST)
    bench.run(6_000)
    rig = BenchRig(bench)
    await rig.request("manual")
    await renewed(rig, Holding(rig), HORN_MS + 600)
    assert rig.status().held_on


async def test_in_a_fault_its_horn_is_acknowledged_first_so_that_the_one_of_the_hold_is_heard():
    rig = BenchRig(BENCHES.at(FAULT))
    rig.run(1_000)
    await rig.request("manual")
    rig.run(HORN_MS + 1_000)
    holding = Holding(rig)
    answer = await holding.hold(ME, flap())
    assert answer.answer == "refused"
    assert answer.reasons[0].startswith("acknowledge the fault first")
    rig.run(HORN_MS)
    assert not rig.bench.on & MOVES
    await rig.request("acknowledge")
    answer = await renewed(rig, holding, HORN_MS + 600)
    assert (answer.answer, rig.status().held_on) == ("accepted", True), "a fault that stands is no reason"


async def test_one_output_at_a_time_from_one_place():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    answer = await holding.hold(OTHER, HoldAsked(ask="hold", output="purge_cmd"))
    assert answer.reasons == ("one at a time: flap_open_cmd is held from another place",)
    assert (await holding.hold(OTHER, flap())).answer == "refused"
    assert holding.force(OTHER, force()).answer == "refused"
    rig.run(10)
    assert rig.bench.on & MOVES == {"flap_open"}
    answer = await holding.hold(ME, HoldAsked(ask="hold", output="purge_cmd"))
    assert answer.reasons == ("one at a time: flap_open_cmd is held here",)


async def test_what_another_is_refused_does_not_let_go_of_what_is_held():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    await holding.hold(OTHER, flap())
    holding.release(OTHER)
    await renewed(rig, holding, 1_000)
    assert rig.status().held_on


async def test_a_hold_whose_horn_could_not_be_asked_for_is_not_taken_up_without_it():
    class Hanging(BenchRig):
        async def request(self, command, who="", to_hold=""):
            raise TimeoutError

    rig, holding = await in_manual()
    rig.run(HORN_MS + 1_000)
    rig.__class__ = Hanging
    with pytest.raises(TimeoutError):
        await holding.hold(ME, flap())
    rig.__class__ = BenchRig
    assert (await holding.hold(ME, flap())).horn_ms == HORN_MS
    rig.run(HORN_MS - 20)
    assert not rig.bench.on & MOVES


async def test_on_io_that_may_be_real_nothing_is_held_without_a_persons_word():
    rig, holding = await in_manual(real=True)
    answer = await holding.hold(ME, flap())
    assert answer.reasons == ("on I/O that may be real somebody must give the area as clear, by name",)
    rig.run(HORN_MS + 600)
    assert not rig.bench.on & MOVES
    await renewed(rig, holding, HORN_MS + 600, flap("A. Miller"))
    assert rig.status().held_on


async def test_the_last_word_stays_and_what_it_holds_back_is_said():
    """Narrative, last word 4: a pulse only with the flap proven open."""
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600, HoldAsked(ask="hold", output="pulse_1_cmd"))
    status = rig.status()
    assert (status.held, status.held_on) == ("pulse_1_cmd", False)
    assert status.held_back
    assert "pulse_1" not in rig.bench.on


async def test_what_the_last_word_holds_back_for_long_after_its_horn_does_not_move_any_more():
    """Narrative, last word 1: the source acts on the body with the flap proven closed only."""
    rig, holding = await in_manual()
    source = HoldAsked(ask="hold", output="source_cmd")
    rig.pressed = {"flap_closed_fb": 0}
    answer = await renewed(rig, holding, HORN_MS + 9_000, source)
    assert (answer.answer, rig.status().held_on) == ("accepted", False)
    for _ in range(10):
        answer = await holding.hold(ME, source)
        if answer.answer == "refused":
            break
        rig.run(200)
    assert answer.reasons[0].startswith("source_cmd fell: held back for over 10 s after its horn: ")
    rig.pressed = {}
    rig.run(2_000)
    assert not rig.bench.on & MOVES


async def test_what_was_on_and_is_held_back_for_a_moment_goes_on():
    rig, holding = await in_manual()
    source = HoldAsked(ask="hold", output="source_cmd")
    await renewed(rig, holding, HORN_MS + 20_000, source)
    rig.pressed = {"flap_closed_fb": 0}
    await renewed(rig, holding, 2_000, source)
    assert not rig.bench.on & MOVES
    rig.pressed = {}
    await renewed(rig, holding, 1_000, source)
    assert rig.status().held_on


@pytest.mark.parametrize(
    ("forced", "why"),
    [
        ({"safety_chain_healthy": 0}, "the safety chain is open"),
        ({"stop_healthy": 0}, "a stop is asked for"),
        ({"image_age_ms": 5_000}, "the inputs are too old"),
        ({"remote_control": 1}, "the remote place is in control"),
    ],
)
@pytest.mark.parametrize("for_ms", [10, 200], ids=["for a moment", "standing"])
async def test_what_dropped_it_ends_the_hold_at_the_next_renewal_and_says_why(forced, why, for_ms):
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    rig.forcing.put(forced)
    rig.run(for_ms)
    rig.forcing.put({} if for_ms < 200 else forced)
    rig.run(200 - for_ms)
    answer = await holding.hold(ME, flap())
    said = why if for_ms == 200 else "what dropped it is gone again"
    assert (answer.answer, answer.reasons) == ("refused", (f"flap_open_cmd fell: {said}",))
    assert not holding.holds(ME)
    rig.run(RENEW_MS)
    assert not rig.bench.on & MOVES


async def test_the_end_of_manual_mode_ends_the_hold_at_the_next_renewal():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    await rig.request("automatic")
    answer = await holding.hold(ME, flap())
    assert (answer.answer, answer.reasons) == ("refused", ("flap_open_cmd fell: manual mode has ended",))
    assert not holding.holds(ME)


async def test_a_fault_that_comes_as_manual_mode_is_left_for_the_horn_ends_the_hold():
    """At rest in manual mode rows are only shown; in the scan between they trip."""
    rig, holding = await in_manual()
    rig.forcing.put({"image_age_ms": 5_000})
    rig.run(1_000)
    answer = await holding.hold(ME, flap())
    assert answer.answer == "refused"
    assert answer.reasons[0].startswith("flap_open_cmd fell: a fault came")


@pytest.mark.parametrize("output", ["horn", "run_lamp", "flap_close_cmd", "nonsense", ""])
async def test_only_outputs_that_are_wired_and_move_something_are_held(output):
    """The mill's flap valve has one coil: there is no closing coil to hold."""
    _rig, holding = await in_manual()
    answer = await holding.hold(ME, HoldAsked.model_construct(ask="hold", output=output, area_clear_by=None))
    assert answer.answer == "refused"
    assert "flap_open_cmd" in answer.reasons[0]


# ---- forced inputs ----


async def test_on_real_io_an_input_is_forced_in_manual_mode_only():
    rig = BenchRig(real=True)
    holding = Holding(rig)
    assert holding.force(ME, force()).reasons == ("manual mode is off: ask for manual first",)
    rig.run(100)
    assert rig.inputs.level_free
    await rig.request("manual")
    assert holding.force(ME, force()).answer == "accepted"
    rig.run(10)
    assert not rig.inputs.level_free
    assert rig.status().forced == {"level_free": 0}


async def test_with_the_end_of_manual_mode_a_force_on_real_io_is_gone_and_stays_gone():
    rig, holding = await in_manual(real=True)
    holding.force(ME, force())
    rig.run(100)
    await rig.request("automatic")
    rig.run(10)
    assert rig.inputs.level_free
    await rig.request("manual")
    answer = holding.force(ME, force())
    assert answer.reasons == ("the force of level_free ended with manual mode",)
    rig.run(10)
    assert rig.inputs.level_free


async def test_on_simulated_io_an_input_is_forced_in_automatic_too_and_the_status_says_so():
    rig = BenchRig()
    holding = Holding(rig)
    holding.force(ME, force())
    rig.run(3_000)
    assert not rig.inputs.level_free
    assert rig.status().forced == {"level_free": 0}
    holding.release(ME)
    rig.run(10)
    assert rig.inputs.level_free
    assert rig.status().forced == {}


async def test_an_output_is_not_held_while_an_input_is_forced():
    """The last word judges by the inputs: with one of them forced it would be no last word."""
    rig, holding = await in_manual(real=True)
    rig.run(HORN_MS)
    holding.force(ME, force("flap_closed_fb", 1))
    answer = await holding.hold(OTHER, HoldAsked(ask="hold", output="source_cmd"))
    assert answer.reasons == ("one at a time: flap_closed_fb is forced from another place",)
    answer = await holding.hold(ME, HoldAsked(ask="hold", output="source_cmd"))
    assert answer.reasons == ("one at a time: flap_closed_fb is forced here",)


@pytest.mark.parametrize("point", ["stop_healthy", "safety_chain_healthy", "start_pb", "reset_pb"])
async def test_stop_safety_chain_and_buttons_are_never_forced_on_real_io(point):
    _rig, holding = await in_manual(real=True)
    assert holding.force(ME, force(point, 1)).reasons == (f"{point} is never forced on real I/O",)


@pytest.mark.parametrize(
    ("point", "value"), [("level_free", 2), ("flap_open_cmd", 1), ("jog", 1), ("nothing", 0)]
)
async def test_only_wired_inputs_are_forced_to_what_their_wire_can_carry(point, value):
    rig, holding = await in_manual()
    answer = holding.force(ME, force(point, value))
    assert answer.answer == "refused"
    assert point in answer.reasons[0]
    assert rig.status().forced == {}
