"""Manual mode, and a source with a motor."""

from controller.engines.proof import Claim
from controller.sequence.steps import (
    DRAWING,
    FAULT,
    HOUR_MS,
    LEVEL_HOLD,
    MOTOR_KIND,
    REST,
    WARNING,
)  # fmt: skip

MANUAL = (
    Claim("manual mode is at rest or in a fault", when=lambda s: s.manual, then=lambda s: s.step in (REST, FAULT)),
    Claim("manual mode has no run latch, and no order", when=lambda s: s.manual, then=lambda s: not s.run and s.order == 0),
    Claim("manual mode is entered at the machine, with control there", when=lambda s: s.manual and not s.was.manual,
          then=lambda s: s.now.manual_request and not s.now.request_remote and s.was.step in (REST, WARNING, FAULT)
          and not (s.now.remote_selected if s.set.selector_fitted else s.now.remote_control)),
    Claim("leaving manual mode starts nothing", when=lambda s: s.was.manual and not s.manual, then=lambda s: s.step in (REST, FAULT) and s.jogged == 0),
    Claim("an output is held by hand in manual mode only", when=lambda s: s.jogged > 0, then=lambda s: s.manual),
    Claim("what is held by hand is one output", when=lambda s: s.manual, then=lambda s: (not s.source_cmd or s.jogged == 1) and (not s.bypass_close_cmd or s.jogged == 2)
          and (not s.flap_open_cmd or s.jogged == 3 or s.halted) and (not s.flap_close_cmd or s.jogged == 4) and (not s.vent_close_cmd or s.jogged == 5)
          and (not s.pulse_1_cmd or s.jogged == 6) and (not s.pulse_2_cmd or s.jogged == 7) and (not s.pulse_3_cmd or s.jogged == 8)
          and (not s.fluidise_cmd or s.jogged == 9) and (not s.purge_cmd or s.jogged == 10) and (not s.feed_cmd or s.jogged == 11)),
    Claim("a held output falls when it is not renewed", when=lambda s: s.jogged > 0, then=lambda s: s.now.jog > 0 or s.jog_age_ms < s.set.jog_renew_ms),
    Claim("the age of a held output is watched", when=lambda s: s.jogged > 0, then=lambda s: s.jog_age_ms == s.held_ms),
    Claim("the horn of manual mode is watched", then=lambda s: s.horn_ms == s.manual_ms and (s.horn or not s.manual or s.manual_ms >= s.set.warning_ms)),
    Claim("nothing is moved by hand before the horn has sounded", when=lambda s: s.jogged > 0, then=lambda s: s.horn_ms >= s.set.warning_ms),
    Claim("open safety chain, lost air, lost I/O, overload, stop and halt drop what is held by hand",
          when=lambda s: not s.now.safety_chain_healthy or s.supply_lost or s.inputs_old or s.overload or not s.now.stop_healthy or s.now.stop_request or s.now.halt_request,
          then=lambda s: s.jogged == 0),
    Claim("what dropped it stays its end until it is let go", when=lambda s: s.was.jog_barred, then=lambda s: s.jogged == 0),
    Claim("nothing is moved by hand from page or network", when=lambda s: s.jogged > 0, then=lambda s: not s.now.request_remote),
    Claim("manual mode ends by itself", when=lambda s: s.was.manual and s.was.jog_age_ms >= s.set.manual_idle_ms and not s.now.manual_request, then=lambda s: not s.manual),
)  # fmt: skip

MOTOR = (
    Claim("the rest of the motor is watched", then=lambda s: s.motor_off_ms == s.motor_rest_ms),
    Claim("a motor is never switched on within its minimum off time, by hand neither", when=lambda s: s.source_cmd and not s.was.source_cmd and s.set.source_kind == MOTOR_KIND,
          then=lambda s: s.was.motor_rest_ms >= s.set.motor_off_min_ms),
    Claim("a run keeps the starts an hour", when=lambda s: s.source_cmd and not s.was.source_cmd and s.set.source_kind == MOTOR_KIND and s.jogged == 0,
          then=lambda s: s.starts_bucket_ms <= HOUR_MS),
    Claim("a motor on bypass does not act on the body", when=lambda s: s.source_cmd and s.set.source_kind == MOTOR_KIND and s.set.bypass_fitted and s.step not in DRAWING and s.jogged == 0,
          then=lambda s: not s.bypass_close_cmd),
    Claim("no bypass is shut where there is none", when=lambda s: s.bypass_close_cmd and s.jogged == 0, then=lambda s: s.set.bypass_fitted and s.set.source_kind == MOTOR_KIND),
    Claim("in a hold a motor is off after its run-on and least on time", when=lambda s: s.step == LEVEL_HOLD and s.source_cmd,
          then=lambda s: s.step_ms < s.set.run_on_ms or s.was.motor_on_ms < s.set.motor_on_min_ms),
    Claim("stop, halt and trip take the motor off at once, whatever its least on time", when=lambda s: s.step in (REST, FAULT) and s.jogged == 0, then=lambda s: not s.source_cmd),
)  # fmt: skip
