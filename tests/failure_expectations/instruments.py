"""What must follow when impulse lines, switches and 4-20 mA signals fail."""

from failure_expectations.table import MID_FILL, B, M, Row, S, Shows, holds, trip, unseen, warns

R = Row
NOT_CONSUMING = ("vessel_not_consuming@10s",)
STANDS_FULL = {B: ("vessel_not_consuming@10s+190s",), S: ("vessel_not_consuming@10s+270s",), M: ("vessel_not_consuming@10s+600s",)}
BY_SWITCH, AIR_BY_SWITCH, FEED_SWITCH = {"vacuum_by": 1}, {"supply_by": 1}, {"feed_low_fitted": 1}
OVERFILLS = warns(("FILL_TIME_OVER", 170), delivers=True)  # three batches that the time ended
SAG = "thought unseen; two bar that go while it draws read as a sag, once; from the next batch on nothing is seen"
QUICK = "flutters faster than its delay, both ways"
NOT_RELEASED = {B: trip("VACUUM_NOT_RELEASED", 20), S: trip("VACUUM_NOT_RELEASED", 21), M: trip("VACUUM_NOT_RELEASED", 34)}
AT_OPEN = {B: trip("FLAP_DISAGREES", 14), S: trip("FLAP_NOT_OPEN", 20), M: trip("FLAP_DISAGREES", 22)}
# fmt: off
LINES_AND_SWITCHES = (
    # the reading moves, so it is not frozen; it does not come down in time
    R("vacuum_line_caked", MID_FILL, NOT_RELEASED),
    R("filter_dp_line_caked", MID_FILL, unseen("a mean of the batches: between its limits", run_s=130, shows=Shows("filter_dp_laden_pa", -10))),
    R("flap_closed_switch_loose", MID_FILL, unseen("the debounce and the delay hold it, as they must")),
    R("flap_closed_switch_shifted", MID_FILL, {B: unseen("the switch makes before the flap is shut; closing seems quicker", shows=Shows("flap_closing_ms", -5)), S: unseen("the switch makes before the flap is shut"),
      M: unseen("the switch makes before the flap is shut; closing seems quicker", shows=Shows("flap_closing_ms", -5))}),
)

LEVEL_PROBES = (
    # the vessel backs up to the flap, which cannot close
    R("level_probe_stuck_free", MID_FILL, {B: trip("FLAP_NOT_CLOSED", 300), S: trip("FLAP_NOT_CLOSED", 600), M: trip("FLAP_NOT_CLOSED|RECEIVER_OVERFULL", 750)}, beside=NOT_CONSUMING),
    R("level_probe_stuck_covered", MID_FILL, {B: holds("vessel full", 30, ("LEVEL_NEVER_CLEARS", 1_900)), S: holds("vessel full", 40, ("LEVEL_NEVER_CLEARS", 1_900)),
      M: holds("vessel full", 60, ("LEVEL_DISAGREES", 120), ("LEVEL_NEVER_CLEARS", 1_900))}),
    # flutter counts as full
    R("level_probe_chattering", MID_FILL, {B: holds("vessel full", 30, ("LEVEL_CHATTERS", 5)), S: holds("vessel full", 40, ("LEVEL_CHATTERS", 5)), M: holds("vessel full", 60, ("LEVEL_CHATTERS", 5), may=("LEVEL_DISAGREES",))}),
    # nobody sees it; the freeboard holds what comes meanwhile
    R("level_probe_delayed", MID_FILL, {B: holds("vessel full", 220, run_s=260), S: holds("vessel full", 300, run_s=340), M: holds("vessel full", 620, run_s=660)}, beside=NOT_CONSUMING),
    # refill on low waits for a probe that never gets bare
    R("low_level_probe_stuck_covered", MID_FILL, holds("vessel full", 520, ("LEVEL_NEVER_CLEARS", 2_400)), beside=STANDS_FULL),
    R("low_level_probe_stuck_free", MID_FILL, holds("vessel full", 520, ("LEVEL_DISAGREES", 520)), beside=STANDS_FULL),
    R("low_level_probe_chattering", MID_FILL, holds("vessel full", 520, ("LEVEL_NEVER_CLEARS", 2_400)), beside=STANDS_FULL),
    R("low_level_probe_delayed", MID_FILL, unseen("the refill begins five seconds later")),
    R("receiver_full_probe_stuck_free", MID_FILL, OVERFILLS),
    # still covered after the drain: one more emptying, then trip
    R("receiver_full_probe_stuck_covered", MID_FILL, trip("RECEIVER_OVERFULL", 34)),
    R("receiver_full_probe_chattering", MID_FILL, OVERFILLS),
    R("receiver_full_probe_delayed", MID_FILL, unseen("batches get heavier by five seconds of feed", run_s=130, shows=Shows("delivered_kg", 10), may=("VACUUM_TOO_HIGH",))),
)

FLAP_SWITCHES = (
    R("flap_closed_switch_stuck_on", MID_FILL, AT_OPEN),
    # at the mill in a hold, where the flap stands closed and nobody moves it: it has moved
    R("flap_closed_switch_stuck_off", {**MID_FILL, B: "260s"}, {B: trip("FLAP_MOVED", 0.5), S: trip("FLAP_LOST_CLOSED", 0.6), M: trip("FLAP_LOST_CLOSED", 0.6)},
      beside={B: NOT_CONSUMING, S: (), M: ()}),
    # at 1 the debounce and the delay hold it; at 0.3 it is off for 0.2 s
    R("flap_closed_switch_chattering", MID_FILL, trip("FLAP_LOST_CLOSED", 1.2), amount=0.3),
    R("flap_closed_switch_delayed", MID_FILL, AT_OPEN),
    R("flap_open_switch_stuck_on", MID_FILL, trip("FLAP_DISAGREES", 0.6, may=("FLAP_LOST_CLOSED",))),
    # in mid fill it is missed when the flap should open; in drain open is lost
    R("flap_open_switch_stuck_off", {**MID_FILL, M: "drain#3"}, {B: trip("FLAP_NOT_OPEN", 20), M: trip("FLAP_LOST_OPEN", 0.5)}),
    R("flap_open_switch_chattering", MID_FILL, trip("FLAP_DISAGREES", 1.2, may=("FLAP_LOST_CLOSED",)), amount=0.3),
    R("flap_open_switch_delayed", MID_FILL, {B: trip("FLAP_NOT_OPEN", 20), M: trip("FLAP_NOT_OPEN", 28)}),
)

OTHER_CONTACTS = (
    R("vacuum_switch_stuck_on", MID_FILL, trip("VACUUM_NOT_RELEASED", 22), fitted=BY_SWITCH),
    R("vacuum_switch_stuck_off", MID_FILL, trip("NO_VACUUM", 1.5), fitted=BY_SWITCH),
    R("vacuum_switch_chattering", MID_FILL, unseen(QUICK), fitted=BY_SWITCH),
    R("vacuum_switch_delayed", MID_FILL, trip("NO_VACUUM", 36), fitted=BY_SWITCH),
    R("supply_switch_stuck_on", MID_FILL, unseen("until the air is lost; then the vacuum goes"), fitted=AIR_BY_SWITCH),
    R("supply_switch_stuck_off", MID_FILL, trip("SUPPLY_AIR_LOW", 1.5), fitted=AIR_BY_SWITCH),
    R("supply_switch_chattering", MID_FILL, unseen(QUICK), fitted=AIR_BY_SWITCH),
    R("supply_switch_delayed", MID_FILL, unseen("five seconds late is nothing while the air is there"), fitted=AIR_BY_SWITCH),
    R("run_contact_stuck_on", MID_FILL, trip("SOURCE_RUNS_UNCOMMANDED", 60), stop_s=190),
    R("run_contact_stuck_off", MID_FILL, trip("SOURCE_NOT_RUNNING", 1)),
    R("run_contact_chattering", MID_FILL, trip("SOURCE_NOT_RUNNING", 2), amount=0.1),
    # seen when the motor is next started
    R("run_contact_delayed", "100s", trip("SOURCE_NOT_RUNNING", 25)),
    # the relay trips unseen: the contactor opens, and that is seen
    R("overload_contact_stuck_on", MID_FILL, trip("SOURCE_NOT_RUNNING", 1), beside=("motor_overload@180s",)),
    R("overload_contact_stuck_off", MID_FILL, trip("SOURCE_OVERLOAD", 0.3)),
    R("overload_contact_chattering", MID_FILL, trip("SOURCE_OVERLOAD", 0.3)),
    R("overload_contact_delayed", MID_FILL, trip("SOURCE_NOT_RUNNING", 6, may=("SOURCE_OVERLOAD",)), beside=("motor_overload@185s",)),
    R("feed_switch_stuck_on", MID_FILL, holds("no product", 60, ("NO_MATERIAL", 6)), beside=("feed_empty@48s",), fitted=FEED_SWITCH),
    R("feed_switch_stuck_off", MID_FILL, holds("no product", 30, run_s=40), fitted=FEED_SWITCH),
    R("feed_switch_chattering", MID_FILL, unseen(QUICK), fitted=FEED_SWITCH),
    R("feed_switch_delayed", MID_FILL, unseen("five seconds late is nothing while there is product"), fitted=FEED_SWITCH),
)

SIGNALS = (
    R("vacuum_broken_wire", MID_FILL, trip("SIGNAL_BAD", 1)),
    R("vacuum_shorted", MID_FILL, trip("SIGNAL_BAD", 1)),
    # it moved since seal, so it is not known as frozen; that it stands with the source off is told, then it trips
    R("vacuum_frozen", MID_FILL, {B: trip("VACUUM_NOT_RELEASED", 20, ("SIGNAL_BAD", 17)), S: trip("VACUUM_NOT_RELEASED", 21, ("SIGNAL_BAD", 20)),
      M: trip("VACUUM_NOT_RELEASED", 34, ("SIGNAL_BAD", 29))}),
    R("vacuum_drifting", MID_FILL, NOT_RELEASED, amount=0.1),
    # seen at the next rest: a reading under -1 kPa
    R("vacuum_drifting_down", MID_FILL, {B: holds("vessel full", 200, ("VACUUM_IN_IDLE", 200)), S: holds("vessel full", 260, ("VACUUM_IN_IDLE", 260)), M: holds("vessel full", 520, ("VACUUM_IN_IDLE", 520))},
      amount=0.07, beside=NOT_CONSUMING),
    R("vacuum_noisy", MID_FILL, NOT_RELEASED),
    R("supply_pressure_broken_wire", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 2, ("SIGNAL_BAD", 1)), S: trip("SUPPLY_AIR_LOW", 2, ("SIGNAL_BAD", 1)),
      M: warns(("SIGNAL_BAD", 1), ("SUPPLY_AIR_LOW", 3), ("PULSE_TANK_WEAK", 45), run_s=140, delivers=True)}),
    R("supply_pressure_shorted", MID_FILL, {B: trip("SUPPLY_AIR_LOW", 2, ("SIGNAL_BAD", 1)), S: trip("SUPPLY_AIR_LOW", 2, ("SIGNAL_BAD", 1)),
      M: warns(("SIGNAL_BAD", 1), ("SUPPLY_AIR_LOW", 3), ("PULSE_TANK_WEAK", 45), run_s=140, delivers=True)}),
    R("supply_pressure_frozen", MID_FILL, unseen("it stands where the pressure usually is, and nothing compares it")),
    R("supply_pressure_drifting", MID_FILL, unseen("it reads good air; the limits come two bar too low")),
    # 5.6 bar is the least that carries sugar: two bar less reads low
    R("supply_pressure_drifting_down", MID_FILL, {B: warns(("SUPPLY_WEAK", 2), run_s=80, delivers=True, changed=SAG), S: trip("SUPPLY_AIR_LOW", 1.5, may=("SUPPLY_WEAK",), changed=SAG), M: warns(("SUPPLY_WEAK", 2), run_s=100, delivers=True, changed=SAG)}),
    R("supply_pressure_noisy", MID_FILL, unseen("no value stays under a limit for its delay")),
    R("filter_dp_broken_wire", MID_FILL, warns(("SIGNAL_BAD", 1), run_s=130, delivers=True)),
    R("filter_dp_shorted", MID_FILL, warns(("SIGNAL_BAD", 1), run_s=130, delivers=True)),
    # it stands with the source off as with it on: bad from the next batch on
    R("filter_dp_frozen", MID_FILL, warns(("SIGNAL_BAD", 80), run_s=130, delivers=True)),
    # 4 kPa too much: over the warning, under the trip
    R("filter_dp_drifting", MID_FILL, warns(("FILTER_DP_HIGH", 100), delivers=True)),
    R("filter_dp_drifting_down", MID_FILL, trip("FILTER_DP_LOW", 4.5)),
    R("filter_dp_noisy", MID_FILL, unseen("no value stays over a limit for its delay", run_s=130)),
)
# fmt: on
