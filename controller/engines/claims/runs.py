"""Faults and their reset; who starts a run, and how it ends."""

from controller.engines.proof import Claim
from controller.sequence.steps import (
    BY_SWITCH,
    BY_TRANSMITTER,
    CLEAR,
    FAULT,
    IDLE,
    LEVEL_HOLD,
    MOTOR_KIND,
    REOPEN,
    REST,
    SEAL,
    SUCTION,
    TO_RUN,
    VENT,
    WARNING,
    WORKING,
)  # fmt: skip

FAULTS = (

    Claim("a fault is remembered through power loss", then=lambda s: s.fault_stored == (s.step == FAULT)),
    Claim("a stored fault and its first-out go together", then=lambda s: s.fault_stored == (s.first_out >= 1) and s.first_out >= 0),
    Claim("a fault has a first-out", when=lambda s: s.step == FAULT, then=lambda s: s.first_out >= 1),
    Claim("outside a fault there is no first-out", when=lambda s: s.step != FAULT, then=lambda s: s.first_out == 0),
    Claim("the first-out is kept until the reset", when=lambda s: s.was.step == FAULT and s.step == FAULT,
          then=lambda s: s.first_out == s.was.first_out),
    Claim("a trip is a fault in the same scan, but at rest in manual mode", when=lambda s: s.trip and not (s.was.manual and s.was.step == REST),
          then=lambda s: s.step == FAULT),
    Claim("a fault is entered by a trip, or by power-up with a stored one", when=lambda s: s.step == FAULT and s.was.step != FAULT,
          then=lambda s: s.trip or s.fault_at_power_up),
    Claim("a stored fault is a fault after power-up", when=lambda s: not s.was.powered and s.was.fault_stored,
          then=lambda s: s.step == FAULT),
    Claim("a fault is left by an accepted reset only, to rest only", when=lambda s: s.was.step == FAULT and s.step != FAULT,
          then=lambda s: s.step == REST and (s.now.reset_pb or s.now.reset_request) and not s.was.reset_held
          and s.now.safety_chain_healthy and s.now.image_age_ms <= s.set.io_lost_ms and not s.was.manual),
    Claim("no reset while good vacuum stands over the release threshold", when=lambda s: s.reset_accepted and s.vacuum_good,
          then=lambda s: s.vacuum_pa < s.set.release_pa),
    Claim("nothing that moves or feeds is energised in a fault, unless held by hand", when=lambda s: s.step == FAULT and s.jogged == 0,
          then=lambda s: not (s.source_cmd or s.bypass_close_cmd or s.flap_open_cmd or s.flap_close_cmd or s.vent_close_cmd or s.pulse_cmd
          or s.fluidise_cmd or s.purge_cmd or s.feed_cmd)),
    Claim("a reset moves no actuator", when=lambda s: s.was.step == FAULT and s.step == REST and s.jogged == 0,
          then=lambda s: not (s.source_cmd or s.bypass_close_cmd or s.flap_open_cmd or s.flap_close_cmd or s.vent_close_cmd or s.pulse_cmd
          or s.fluidise_cmd or s.purge_cmd or s.feed_cmd)),
    Claim("lost I/O is a fault", when=lambda s: s.now.image_age_ms > s.set.io_lost_ms, then=lambda s: s.step == FAULT or (s.step == REST and s.manual)
          or (s.step == REST and s.was.manual)),
    Claim("a life counter that stands still is a fault", when=lambda s: s.io_still_long, then=lambda s: s.step == FAULT or (s.step == REST and s.was.manual)),
    Claim("an open safety chain stops whatever runs", when=lambda s: not s.now.safety_chain_healthy,
          then=lambda s: s.step in (*IDLE, FAULT)),
    Claim("thin air is counted as the transmitter reads it", when=lambda s: s.thin_air, then=lambda s: s.supply_air_lost_1_seen and s.supply_air_lost_1_held_ms >= s.thin_air_ms),
    Claim("under the very low limit of a supply transmitter nothing goes on working", when=lambda s: s.was.step in WORKING and s.was.thin_air and s.reads_thin_air
          and s.was.thin_air_ms + s.dt_ms >= s.set.supply_lost_ms, then=lambda s: s.step == FAULT),
    Claim("a switch that is off, or a loop under its limit until a band over it, is low air", when=lambda s: s.air_short, then=lambda s: s.supply_under_limit),
    Claim("low air in suction is counted as the wire tells it", when=lambda s: s.short_in_suction,
          then=lambda s: (s.supply_air_low_1_seen and s.supply_air_low_1_held_ms >= s.short_in_suction_ms) or (s.supply_air_low_3_seen and s.supply_air_low_3_held_ms >= s.short_in_suction_ms)),
    Claim("low air ends the suction of an air-driven source, told by a switch or a transmitter", when=lambda s: s.was.step in SUCTION and s.was.short_in_suction and s.air_short
          and s.was.returns_spent == s.returns_spent and s.was.short_in_suction_ms + s.dt_ms >= s.set.supply_low_ms,
          then=lambda s: s.step in (FAULT, LEVEL_HOLD, REST) or (s.step == CLEAR and s.was.step != CLEAR and not s.run)),
    Claim("a pause for air does not end while the wire tells low air", when=lambda s: s.was.step == LEVEL_HOLD and s.was.air_hold and s.step in (SEAL, VENT), then=lambda s: not s.air_short),
    Claim("no reset of flap or safety but where the machine is seen", when=lambda s: s.reset_accepted and s.was.fault_at_machine,
          then=lambda s: s.now.reset_pb or (s.now.reset_request and not s.now.request_remote)),
    Claim("a fault of flap or safety is remembered as one", when=lambda s: s.step == FAULT and s.trip and (s.safety_chain_open_acts or s.flap_lost_closed_acts
          or s.flap_lost_open_acts or s.flap_not_open_acts or s.flap_not_closed_acts or s.flap_disagrees_acts or s.flap_moved_acts),
          then=lambda s: s.fault_at_machine),
    Claim("no reset from page or network without the right to it", when=lambda s: s.reset_accepted and not (s.now.reset_pb or (s.now.reset_request and not s.now.request_remote)),
          then=lambda s: s.set.remote_start_allowed and (s.now.remote_selected if s.set.selector_fitted else s.now.remote_control)),
    Claim("no reset while the motor runs without a command", when=lambda s: s.reset_accepted, then=lambda s: not s.runs_uncommanded),
)  # fmt: skip

RUNS = (

    Claim("the run latch is held for a run only", when=lambda s: s.run, then=lambda s: s.order == TO_RUN),
    Claim("no run latch at rest or in a fault", when=lambda s: s.step in (REST, FAULT), then=lambda s: not s.run),
    Claim("a run begins with a fresh start edge only, at rest, when all is ready", when=lambda s: s.run and not s.was.run,
          then=lambda s: (s.now.start_pb or s.now.start_request) and not s.was.start_held and s.was.step == REST and not s.was.manual
          and s.now.safety_chain_healthy and s.now.stop_healthy and not s.supply_not_over and not s.flap_open_uncalled),
    Claim("no run begins under vacuum", when=lambda s: s.run and not s.was.run and s.set.vacuum_by == BY_TRANSMITTER and not s.set.timed_running,
          then=lambda s: s.vacuum_good and s.vacuum_pa < s.set.release_pa and s.vacuum_pa > 0 - s.set.release_pa),
    Claim("no run begins while a vacuum switch is on", when=lambda s: s.run and not s.was.run and s.set.vacuum_by == BY_SWITCH, then=lambda s: not s.now.vacuum_switch),
    Claim("no run begins while the motor runs or its overload is open", when=lambda s: s.run and not s.was.run and s.set.source_kind == MOTOR_KIND,
          then=lambda s: not (s.set.run_feedback_fitted and s.now.source_running_fb) and not (s.set.overload_fitted and not s.now.overload_healthy)),
    Claim("an order from page or network needs the right to it", when=lambda s: s.asked and s.now.request_remote and not s.now.start_pb,
          then=lambda s: s.set.remote_start_allowed and (s.now.remote_selected if s.set.selector_fitted else s.now.remote_control)),
    Claim("the machine gives no order while another place has control", when=lambda s: s.asked and not s.now.request_remote,
          then=lambda s: not (s.now.remote_selected if s.set.selector_fitted else s.now.remote_control)),
    Claim("start and reset are remembered as last seen",
          then=lambda s: s.start_held == (s.now.start_pb or s.now.start_request) and s.reset_held == (s.now.reset_pb or s.now.reset_request)),
    Claim("only the first scan after power-up is the first", then=lambda s: s.powered),
    Claim("a start held through power-up starts nothing", when=lambda s: not s.was.powered, then=lambda s: not s.run),
    Claim("a start held through a reset starts nothing", when=lambda s: s.was.step == FAULT, then=lambda s: not s.run),
    Claim("rest is left by an order only, and to the warning", when=lambda s: s.was.step == REST and s.step not in (REST, FAULT),
          then=lambda s: s.step == WARNING and s.asked),
    Claim("the horn sounds its whole time before the first movement", when=lambda s: s.was.step == WARNING and s.step in (SEAL, VENT, LEVEL_HOLD),
          then=lambda s: s.in_step_ms >= s.set.warning_ms and not s.readiness_lost),
    Claim("the warning is a horn", when=lambda s: s.step == WARNING, then=lambda s: s.horn),
    Claim("stop and halt clear the run latch at once", when=lambda s: not s.now.stop_healthy or s.now.stop_request or s.now.halt_request, then=lambda s: not s.run),
    Claim("whatever is not at rest was ordered", when=lambda s: s.step not in (REST, FAULT), then=lambda s: s.order >= TO_RUN),
    Claim("a run that is warned of has its latch", when=lambda s: s.step == WARNING and s.order == TO_RUN, then=lambda s: s.run),
    Claim("suction and hold belong to a run", when=lambda s: s.step in SUCTION or s.step == LEVEL_HOLD, then=lambda s: s.order == TO_RUN),
    Claim("suction before the draw goes on with the run latch only", when=lambda s: s.step in (SEAL, REOPEN, LEVEL_HOLD), then=lambda s: s.run),
    Claim("a stop in suction feeds no more", when=lambda s: (not s.now.stop_healthy or s.now.stop_request) and not s.set.finish_fill_on_stop, then=lambda s: not s.feed_cmd),
    Claim("a halt takes everything but the flap off", when=lambda s: s.now.halt_request,
          then=lambda s: not (s.source_cmd or s.bypass_close_cmd or s.vent_close_cmd or s.pulse_cmd or s.fluidise_cmd or s.purge_cmd or s.feed_cmd)
          and s.step in (REST, FAULT)),
    Claim("a halt freezes the flap output", when=lambda s: s.now.halt_request and s.step == REST and s.was.step not in (REST, FAULT) and not s.was.manual and not (s.manual and s.set.warning_ms == 0),
          then=lambda s: s.flap_open_cmd == s.was.flap_open_cmd and (s.flap_close_cmd == s.was.flap_close_cmd or s.was.step == WARNING)),
    Claim("an emptying after the warning is never begun onto a full vessel", when=lambda s: s.was.step in (WARNING, LEVEL_HOLD) and s.step == VENT,
          then=lambda s: not s.vessel_full),
)  # fmt: skip
