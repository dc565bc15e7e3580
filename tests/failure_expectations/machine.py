"""What must follow when flap, line, body, source or supply air fail."""

from failure_expectations.table import MID_FILL, B, M, Row, S, Shows, holds, trip, unseen, warns

R = Row
NOT_CONSUMING = ("vessel_not_consuming@10s",)
# fmt: off
FLAP = (
    # one retry with re-open while the level is clear, then trip; the vacuum-held one hangs: one clean, then trip
    R("flap_sticks_open", "drain#3", {B: trip("FLAP_NOT_CLOSED", 17), M: trip("FLAP_NOT_CLOSED", 22), S: trip("FLAP_NOT_CLOSED", 6)}),
    # one retry from vent, then trip; vacuum-held: only with product on board, as here
    R("flap_sticks_closed", "clear#2", {B: trip("FLAP_NOT_OPEN", 10), M: trip("FLAP_NOT_OPEN", 12), S: trip("FLAP_NOT_OPEN", 8)}),
    # 3.5 x as slow: under the travel limit; three slow moves after ten learned ones
    R("flap_slow", "settle#12", {B: warns(("FLAP_SLOW", 100), delivers=True), M: warns(("FLAP_SLOW", 150), delivers=True),
      S: unseen("nothing drives this flap, so its travel is not timed; the drain lasts a little longer")}, amount=0.5),
    R("product_on_seat", "drain#3", {B: trip("FLAP_NOT_CLOSED", 17), M: trip("FLAP_NOT_CLOSED", 22), S: trip("FLAP_NOT_CLOSED", 6)}),
    R("flap_leaking", MID_FILL, unseen("half a kPa less: feedback is right, no threshold is near; draw time and air-only vacuum show it", shows=Shows("vacuum_air_only_pa", -5)),
      amount={B: 1.0, M: 1.0, S: 0.2}),
    R("string_on_seat", MID_FILL, {B: trip("FLAP_LOST_CLOSED", 0.5), M: trip("FLAP_LOST_CLOSED", 0.6), S: trip("FLAP_LOST_CLOSED", 0.5)}),
    # closed commanded, open appears: no source
    R("flap_hoses_swapped", "seal#2", {B: trip("FLAP_NOT_CLOSED", 10), M: trip("FLAP_NOT_CLOSED", 12)}),
)

LINE = (
    # feed off, clear with purge; the purge valve gives air behind the plug, so the batch ends; the second of three trips
    R("line_blocked", MID_FILL, {B: trip("VACUUM_TOO_HIGH", 22), S: trip("VACUUM_TOO_HIGH", 25), M: trip("VACUUM_TOO_HIGH", 32)}),
    R("feed_empty", MID_FILL, {B: holds("no product", 60, ("NO_MATERIAL", 6)), S: holds("no product", 60, ("NO_MATERIAL", 6)), M: holds("no product", 80, ("NO_MATERIAL", 8))}),
    # NO_VACUUM, not starved
    R("inlet_hose_off", MID_FILL, trip("NO_VACUUM", 3)),
    # a short batch at most, no starved hold
    R("lance_lifted", {B: "48s+20s", S: "52s+20s", M: "180s+20s"}, warns(("NO_MATERIAL", 8), run_s=120, delivers=True)),
    R("sack_liner_in_lance", MID_FILL, {B: trip("VACUUM_TOO_HIGH", 22), S: trip("VACUUM_TOO_HIGH", 25), M: trip("VACUUM_TOO_HIGH", 32)}),
    R("slugging_line", MID_FILL, unseen("swings shorter than the delay must not trip; the peak of the vacuum shows it", shows=Shows("vacuum_peak_pa", 20))),
    R("line_floods", MID_FILL, trip("VACUUM_TOO_HIGH|LINE_BLOCKED", 60, may=("VACUUM_TOO_HIGH",))),
    R("purge_valve_stuck_shut", MID_FILL, unseen("the pick-up lets air in too, so the line still runs empty; air-only vacuum rises a little", shows=Shows("vacuum_air_only_pa", 2))),
    # less air through the pick-up carries nothing: short batches, starved after three
    R("purge_valve_stuck_open", MID_FILL, {B: holds("no product", 60, ("NO_MATERIAL", 8)), S: holds("no product", 60, ("NO_MATERIAL", 8)), M: holds("no product", 80, ("NO_MATERIAL", 10))}),
)

BODY = (
    R("vent_stuck_shut", MID_FILL, unseen("the open line lets the air in; only behind a plug is the vacuum not released", shows=Shows("release_ms", 30))),
    R("vent_stuck_open", MID_FILL, unseen("a leak of a tenth of the line: under no limit", shows=Shows("vacuum_air_only_pa", -10))),
    R("vent_filter_clogged", MID_FILL, unseen("the open line lets the air in", shows=Shows("release_ms", 20))),
    # without a probe the next batch comes on top and the body is overfull; with it: one more emptying, then trip
    R("body_bridging", "vent#2", {B: trip("LINE_BLOCKED|VACUUM_TOO_HIGH", 45, ("VACUUM_TOO_HIGH", 40)), S: trip("FLAP_NOT_CLOSED", 7), M: trip("RECEIVER_OVERFULL", 28)}),
    R("fluidising_dead", MID_FILL, unseen("the emptying time is fixed and long enough without it"), fitted={"fluidise_on_ms": 500, "fluidise_off_ms": 500}),
)

SOURCE = (
    R("source_dead", "seal#2", {B: trip("NO_VACUUM", 6), S: trip("NO_VACUUM", 5), M: trip("SOURCE_NOT_RUNNING", 1)}),
    R("source_weak", "seal#2", {B: trip("NO_VACUUM", 6), S: trip("NO_VACUUM", 5), M: trip("NO_VACUUM", 8.5)}),
    R("ejector_iced", "40s", unseen("it thaws in every pause; air-only vacuum sinks", run_s=600, shows=Shows("vacuum_air_only_pa", -10))),
    R("motor_overload", MID_FILL, trip("SOURCE_OVERLOAD", 0.3)),
    R("motor_wrong_rotation", "seal#2", trip("NO_VACUUM", 8.5)),
    # it needs a stop: run feedback after the run-down time
    R("contactor_welded", MID_FILL, trip("SOURCE_RUNS_UNCOMMANDED", 60), stop_s=190),
    R("bypass_stuck_shut", MID_FILL, trip("VACUUM_NOT_RELEASED", 34)),
    R("bypass_stuck_open", "seal#2", trip("NO_VACUUM", 8.5)),
    R("source_valve_passing", MID_FILL, unseen("with the vent open it stays under the release threshold", shows=Shows("release_ms", 5))),
)

SUPPLY = (
    # a motor does not need the air in suction: it warns, and trips when flap and pulses lose it
    R("supply_falls", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 7), S: trip("SUPPLY_AIR_LOW", 7), M: trip("SUPPLY_AIR_LOST", 7, may=("SUPPLY_AIR_LOW",))}),
    R("supply_falls_slowly", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 180, may=("SUPPLY_AIR_LOW",)), S: trip("SUPPLY_AIR_LOW", 150), M: trip("SUPPLY_AIR_LOST", 260, ("SUPPLY_AIR_LOW", 200), may=("PULSE_TANK_WEAK",))}),
    R("supply_dumped", MID_FILL, trip("SUPPLY_AIR_LOST", 1.5)),
    # full at rest, falls while drawing: weak, then low; a quarter of the line is still 1.3 x what the small ejector takes
    R("supply_half_shut", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 20, ("SUPPLY_WEAK", 20)), S: unseen("a quarter of this line still feeds the small ejector", shows=Shows("supply_lowest_pa_g", -8)),
      M: unseen("a blower takes no air and the pulses have their time", shows=Shows("supply_lowest_pa_g", -1))}),
    R("neighbour_draws", MID_FILL, unseen("a dip shorter than the delay must be silent")),
    # 5.6 bar is the least that carries sugar: a band of 1.5 bar goes under it, half of that does not
    R("compressor_band", MID_FILL, unseen("over every limit at its bottom", run_s=260), amount={B: 1.0, M: 1.0, S: 0.5}),
)
# fmt: on
