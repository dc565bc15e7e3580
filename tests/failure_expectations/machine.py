"""What must follow when flap, line, body, source or supply air fail."""

from failure_expectations.table import MID_FILL, B, M, Row, S, Shows, holds, trip, unseen, warns

R = Row
SHORT_CLEAR = "two seconds of clear are too short for the second of delay of the empty line: the first high batch counts as a blocked line"
CARRIES = "a starved hold was expected; powder is still carried by half of the air at the pick-up, so no batch is short"
SAGS = ("SUPPLY_WEAK", "SUPPLY_AIR_LOST")  # it sags on its way, and in FAULT it is listed as it falls on
DROPS = "NO_VACUUM was expected; but a flap held by vacuum drops its batch as soon as the vacuum goes, and that is seen first"
# fmt: off
FLAP = (
    # one retry with re-open while the level is clear, then trip; the vacuum-held one hangs: one clean, then trip
    R("flap_sticks_open", "drain#3", {B: trip("FLAP_NOT_CLOSED", 17), M: trip("FLAP_NOT_CLOSED", 22), S: trip("FLAP_NOT_CLOSED", 6)}),
    # one retry from vent, then trip; vacuum-held: only with product on board, as here
    R("flap_sticks_closed", "clear#2", {B: trip("FLAP_NOT_OPEN", 10), M: trip("FLAP_NOT_OPEN", 12), S: trip("FLAP_NOT_OPEN", 8)}),
    # 3.5 x as slow: under the travel limit; three slow moves after ten learned ones
    R("flap_slow", "settle#12", {B: warns(("FLAP_SLOW", 100), delivers=True), M: warns(("FLAP_SLOW", 150), delivers=True),
      S: trip("FLAP_NOT_CLOSED", 40, changed="thought unseen; but this flap swings shut so gently that a slow one hangs open for longer than emptying and clean")}, amount=0.5),
    R("product_on_seat", "drain#3", {B: trip("FLAP_NOT_CLOSED", 17), M: trip("FLAP_NOT_CLOSED", 22), S: trip("FLAP_NOT_CLOSED", 6)}),
    R("flap_leaking", MID_FILL, unseen("feedback is right, no threshold is near; the mean vacuum shows it", shows=Shows("vacuum_mean_pa", -5),
      changed="air-only vacuum was thought to show it; it does so by a third only: a leak lets clear end sooner, a second after the threshold, when the line is not quite empty"),
      amount={B: 1.0, M: 1.0, S: 0.2}),
    # 100 mm2, as the flap above: a trend, no threshold
    R("body_leaking", MID_FILL, unseen("no threshold is near; draw time and mean vacuum show it", shows=Shows("vacuum_mean_pa", -5)),
      amount={B: 0.2, M: 0.2, S: 0.04}),
    R("string_on_seat", MID_FILL, {B: trip("FLAP_LOST_CLOSED", 0.5), M: trip("FLAP_LOST_CLOSED", 0.6), S: trip("FLAP_LOST_CLOSED", 0.5)}),
    # closed commanded, open appears: no source
    R("flap_hoses_swapped", "seal#2", {B: trip("FLAP_NOT_CLOSED", 10), M: trip("FLAP_NOT_CLOSED", 12)}),
)

LINE = (
    # feed off, clear with purge; the purge valve gives air behind the plug, so the batch ends; the second of three trips
    R("line_blocked", MID_FILL, {B: trip("VACUUM_TOO_HIGH", 22), S: trip("LINE_BLOCKED|VACUUM_TOO_HIGH", 25, may=("VACUUM_TOO_HIGH",), changed=SHORT_CLEAR), M: trip("VACUUM_TOO_HIGH", 32)}),
    R("feed_empty", MID_FILL, {B: holds("no product", 60, ("NO_MATERIAL", 6)), S: holds("no product", 60, ("NO_MATERIAL", 6)), M: holds("no product", 80, ("NO_MATERIAL", 8))}),
    # NO_VACUUM, not starved
    R("inlet_hose_off", MID_FILL, {B: trip("NO_VACUUM", 3), M: trip("NO_VACUUM", 3), S: trip("FLAP_LOST_CLOSED", 1, changed=DROPS)}),
    # a short batch at most, no starved hold
    R("lance_lifted", {B: "48s+20s", S: "52s+20s", M: "180s+20s"}, warns(("NO_MATERIAL", 8), run_s=120, delivers=True)),
    R("sack_liner_in_lance", MID_FILL, {B: trip("VACUUM_TOO_HIGH", 22), S: trip("LINE_BLOCKED|VACUUM_TOO_HIGH", 25, may=("VACUUM_TOO_HIGH",), changed=SHORT_CLEAR), M: trip("VACUUM_TOO_HIGH", 32)}),
    R("slugging_line", MID_FILL, unseen("swings shorter than the delay must not trip; the peak of the vacuum shows it", shows=Shows("vacuum_peak_pa", 20))),
    R("line_floods", MID_FILL, {B: trip("VACUUM_TOO_HIGH|LINE_BLOCKED", 60, may=("VACUUM_TOO_HIGH",)),
      S: unseen("sugar that slides in faster overfills the body; the vacuum is highest in clear, where no row looks", run_s=150, shows=Shows("vacuum_peak_pa", 50),
        changed="VACUUM_TOO_HIGH was expected; it is looked at in draw and convey only, and the small ejector is too weak to pass its limit there"),
      M: trip("FILL_TOO_FAST", 160, ("FILL_TOO_FAST", 130), changed="VACUUM_TOO_HIGH was expected; the probe ends the batch first, so the fills are too short")}),
    R("purge_valve_stuck_shut", MID_FILL, unseen("the pick-up lets air in too, so the line still runs empty; air-only vacuum rises a little", shows=Shows("vacuum_air_only_pa", 2))),
    # less air through the pick-up carries nothing: short batches, starved after three
    R("purge_valve_stuck_open", MID_FILL, {S: holds("no product", 60, ("NO_MATERIAL", 8)),
      B: unseen("the vacuum is 30 % low and over its threshold: less product", shows=Shows("fill_rate_kg_h", -30), changed=CARRIES), M: unseen("the vacuum is low and over its threshold: less product", shows=Shows("fill_rate_kg_h", -10), changed=CARRIES)}),
)

BODY = (
    R("vent_stuck_shut", MID_FILL, unseen("the open line lets the air in; only behind a plug is the vacuum not released", shows=Shows("release_ms", 5))),
    R("vent_stuck_open", MID_FILL, unseen("a leak of a tenth of the line: under no limit", shows=Shows("vacuum_air_only_pa", -4))),
    R("vent_filter_clogged", MID_FILL, unseen("the open line lets the air in", shows=Shows("release_ms", 5))),
    # without a probe the next batch comes on top and the body is overfull; with it: one more emptying, then trip
    R("body_bridging", "vent#2", {B: trip("LINE_BLOCKED|VACUUM_TOO_HIGH", 45, ("VACUUM_TOO_HIGH", 40)), S: trip("FLAP_NOT_CLOSED", 7), M: trip("RECEIVER_OVERFULL", 28)}),
    R("fluidising_dead", MID_FILL, unseen("the emptying time is fixed and long enough without it"), fitted={"fluidise_on_ms": 500, "fluidise_off_ms": 500}),
)

SOURCE = (
    R("source_dead", "seal#2", {B: trip("NO_VACUUM", 6), S: trip("NO_VACUUM", 5), M: trip("SOURCE_NOT_RUNNING", 1)}),
    R("source_weak", "seal#2", {B: trip("NO_VACUUM", 6), S: trip("NO_VACUUM", 5), M: trip("NO_VACUUM", 8.5)}),
    R("ejector_iced", "40s", unseen("it thaws in every pause; air-only vacuum sinks", run_s=600, shows=Shows("vacuum_air_only_pa", -7))),
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
    R("supply_falls", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 7, may=SAGS), S: trip("SUPPLY_AIR_LOW", 7, may=SAGS), M: trip("SUPPLY_AIR_LOST", 9, ("SUPPLY_AIR_LOW", 8), may=SAGS)}),
    R("supply_falls_slowly", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 180, may=("SUPPLY_AIR_LOW",)), S: trip("SUPPLY_AIR_LOW", 150), M: trip("SUPPLY_AIR_LOST", 260, ("SUPPLY_AIR_LOW", 200), may=("PULSE_TANK_WEAK",))}),
    R("supply_dumped", MID_FILL, trip("SUPPLY_AIR_LOST", 1.5)),
    # full at rest, falls while drawing: weak, then low; a quarter of the line is still 1.3 x what the small ejector takes
    R("supply_half_shut", MID_FILL, {B: warns(("SUPPLY_WEAK", 10), run_s=80, delivers=True, changed="SUPPLY_AIR_LOW was expected after it; a quarter of this line is 0.9 x what the ejector takes, so the header stays over 4.5 bar"), S: unseen("a quarter of this line still feeds the small ejector", shows=Shows("supply_lowest_pa_g", -8)),
      M: unseen("a blower takes no air and the pulses have their time", shows=Shows("supply_lowest_pa_g", -1))}),
    R("neighbour_draws", MID_FILL, unseen("a dip shorter than the delay must be silent")),
    # 5.6 bar is the least that carries sugar: a band of 1.5 bar goes under it, half of that does not
    R("compressor_band", MID_FILL, unseen("over every limit at its bottom", run_s=260), amount={B: 1.0, M: 1.0, S: 0.5}),
)
# fmt: on
