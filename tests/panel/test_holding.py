"""
Outputs held and inputs forced from the panel socket, on the real sequence, scan by scan.

What must hold is the control narrative's section on manual mode: one output at a time, renewed within 500 ms,
after the horn, under the last word. That the horn is good for a minute is common practice, no source.
"""

import pytest
from panel.rigs import BenchRig

from controller.panel.holding import WARNED_FOR_MS, Holding
from controller.panel.messages import ForceAsked, HoldAsked

HORN_MS, RENEW_MS = 3_000, 500
ME, OTHER = object(), object()
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
    await renewed(rig, holding, 400, HoldAsked(ask="hold", output="purge_cmd"))
    assert rig.bench.on & MOVES == {"purge"}, "the horn was just heard: no second one"


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


async def test_after_a_minute_the_horn_sounds_again():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    holding.release(ME)
    rig.run(WARNED_FOR_MS + RENEW_MS + 10)
    answer = await holding.hold(ME, flap())
    assert answer.horn_ms == HORN_MS
    rig.run(HORN_MS - 20)
    assert "horn" in rig.bench.on
    assert not rig.bench.on & MOVES


async def test_who_gives_the_area_as_clear_hears_the_horn_each_time():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    holding.release(ME)
    rig.run(RENEW_MS)
    answer = await holding.hold(ME, flap("A. Miller"))
    assert answer.horn_ms == HORN_MS
    answer = await renewed(rig, holding, HORN_MS + 400, flap("A. Miller"))
    assert answer.horn_ms == 0, "the horn sounds once a hold"
    assert rig.status().held_on


async def test_the_last_word_stays_and_what_it_holds_back_is_said():
    """Narrative, last word 4: a pulse only with the flap proven open."""
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600, HoldAsked(ask="hold", output="pulse_1_cmd"))
    status = rig.status()
    assert (status.held, status.held_on) == ("pulse_1_cmd", False)
    assert status.held_back
    assert "pulse_1" not in rig.bench.on


async def test_what_dropped_it_is_said_and_stays_its_end():
    rig, holding = await in_manual()
    await renewed(rig, holding, HORN_MS + 600)
    rig.forcing.put({"safety_chain_healthy": 0})
    await renewed(rig, holding, 400)
    assert not rig.bench.on & MOVES
    assert any("safety" in why for why in rig.status().held_back)
    rig.forcing.put({})
    await renewed(rig, holding, 400)
    assert not rig.bench.on & MOVES, "it was not let go"
    assert rig.status().held_back == ("it was dropped: let it go first",)


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
