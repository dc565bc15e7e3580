"""What the outputs want, and the last word on them, whatever the step says."""

from controller.sequence.definition import fact
from controller.sequence.guards import Guards
from controller.sequence.steps import HOLD_BATCH, LEVEL_HOLD, PULSE_MAX_MS, REOPEN

FLUIDISE_ENDS_MS = 300  # before the flap closes


class Facts(Guards):
    """The facts of the receiver, whole."""

    vent_close_cmd = fact[bool]()  # from OUTPUTS
    pulse_1_cmd = fact[bool]()
    pulse_2_cmd = fact[bool]()
    pulse_3_cmd = fact[bool]()

    pulse_cmd = fact(lambda s: s.pulse_1_cmd or s.pulse_2_cmd or s.pulse_3_cmd)

    # ---- flap ----------------------------------------------------------------------------------------
    flap_frozen_open = fact(lambda s: s.halted and s.was.flap_open_cmd and s.driven)
    release_known = fact(
        lambda s: (
            s.under_release
            if s.vacuum_good
            else s.was.source_off_ms >= s.set.release_limit_ms
            if s.vacuum_measured
            else s.released_by_time
        )
    )
    full_below_policy = fact(lambda s: s.vessel_full and s.set.level_policy == HOLD_BATCH)
    flap_open_barred = fact(
        lambda s: (
            not s.was.flap_open_cmd
            and (
                not s.release_known
                or s.source_acts
                or not s.source_quiet
                or s.runs_uncommanded
                or s.full_for_order
                or s.full_below_policy
            )
        )
    )
    open_while_cleaned = fact(lambda s: s.driven and not s.offline)
    flap_close_called = fact(lambda s: s.two_coils and s.flap_called and not s.flap_open_cmd)

    # ---- source and pulses ---------------------------------------------------------------------------
    pulse_rested = fact(lambda s: s.pulse_off_ms >= s.set.pulse_off_min_ms)
    pulse_begun = fact(lambda s: s.was.pulsed or s.was.pulsing or (s.pulse_ready and s.pulse_rested))
    reopen_pulse = fact(
        lambda s: (
            s.was.step == REOPEN
            and s.flap_open_proven
            and (s.was.pulsing or (s.pulse_air and s.pulse_rested and not s.was.pulsed))
            and s.pulse_on_ms < s.set.pulse_ms
        )
    )
    first_called = fact(lambda s: s.was.pulse_group == 1 and s.pulse_begun)
    second_called = fact(lambda s: s.was.pulse_group == 2 and s.pulse_begun)
    third_called = fact(lambda s: s.was.pulse_group == 3 and s.pulse_begun)
    first_reopens = fact(lambda s: s.was.pulse_group == 1 and s.reopen_pulse)
    second_reopens = fact(lambda s: s.was.pulse_group == 2 and s.reopen_pulse)
    third_reopens = fact(lambda s: s.was.pulse_group == 3 and s.reopen_pulse)
    pulse_place = fact(lambda s: s.uncommanded or s.flap_open_proven or (s.offline and s.flap_proven))
    pulse_barred = fact(
        lambda s: (
            not s.pulse_place
            or s.source_acts
            or s.vent_close_cmd
            or s.pulse_on_ms >= min(s.set.pulse_ms, PULSE_MAX_MS)
            or (not s.was.pulsing and s.pulse_off_ms < s.set.pulse_off_min_ms)
        )
    )

    # ---- fluidising, lamps, horn ---------------------------------------------------------------------
    fluid_called = fact(
        lambda s: (
            s.set.fluidise_on_ms > 0
            and s.step_ms + FLUIDISE_ENDS_MS < s.set.drain_ms
            and (s.set.fluidise_off_ms == 0 or s.fluid_ms < s.set.fluidise_on_ms)
        )
    )
    fluidise_barred = fact(lambda s: s.vent_close_cmd and not s.flap_open_proven)
    lamp_on = fact(lambda s: s.flash_ms < 500)
    runs_steadily = fact(lambda s: not s.wait)
    waiting_armed = fact(lambda s: (s.step == LEVEL_HOLD or s.wait) and s.lamp_on)
    horn_wanted = fact(lambda s: not s.horn_silenced and not s.manual)
    manual_begins = fact(lambda s: s.manual and s.manual_ms < s.set.warning_ms)

    # ---- the output held in manual mode, as JOG counts -----------------------------------------------
    jog_source = fact(lambda s: s.jogged == 1)
    jog_bypass = fact(lambda s: s.jogged == 2)
    jog_flap_open = fact(lambda s: s.jogged == 3)
    jog_flap_close = fact(lambda s: s.jogged == 4)
    jog_vent = fact(lambda s: s.jogged == 5)
    jog_pulse_1 = fact(lambda s: s.jogged == 6)
    jog_pulse_2 = fact(lambda s: s.jogged == 7)
    jog_pulse_3 = fact(lambda s: s.jogged == 8)
    jog_fluidise = fact(lambda s: s.jogged == 9)
    jog_purge = fact(lambda s: s.jogged == 10)
    jog_feed = fact(lambda s: s.jogged == 11)
