"""What must follow when pulse tanks, filters or the vessel below fail."""

from failure_expectations.table import MID_FILL, B, M, Row, S, Shows, holds, trip, unseen, warns

R = Row
NOT_CONSUMING = ("vessel_not_consuming@10s",)
PRESSED = "a reading under -1 kPa at rest and a refused start were expected; a flap that shuts against the pressure is pressed on its seat"
# fmt: off
PULSES = (
    R("pulse_valve_stuck_open", MID_FILL, {B: unseen("no transmitter at the tank; the air it lets in lowers the vacuum", shows=Shows("vacuum_air_only_pa", -5)),
      S: trip("FLAP_LOST_CLOSED", 1, changed="short batches were expected; the tank blows into the body and the flap held by vacuum drops its batch"),
      M: unseen("one group of three blows for nothing and is not cleaned", shows=Shows("filter_dp_cleaned_pa", 10))}),
    R("pulse_valve_stuck_shut", MID_FILL, {B: unseen("no pressure drop is measured; on the dirty side blinding lowers the vacuum", run_s=300, shows=Shows("vacuum_air_only_pa", -15)),
      S: unseen("no pressure drop is measured; sugar has few fines", run_s=300, shows=Shows("vacuum_air_only_pa", -1)),
      M: unseen("two groups of three are cleaned, so the drop still falls at each clean", run_s=300, shows=Shows("filter_dp_cleaned_pa", 15))}),
    R("pulse_valve_passing", MID_FILL, unseen("the tank fills faster than it hisses")),
    R("tank_not_charging", MID_FILL, {B: unseen("no transmitter at the tank, no pressure drop: cake grows", run_s=300, shows=Shows("vacuum_air_only_pa", -15)),
      S: unseen("no transmitter at the tank, no pressure drop; sugar has few fines", run_s=300, shows=Shows("vacuum_air_only_pa", -2)),
      M: warns(("FILTER_DP_HIGH", 270), ("CLEANING_WEAK", 350), changed="40 s later than reckoned: the tanks hold more than one pulse")}),
)

FILTERS = (
    R("filter_blinded", MID_FILL, {B: unseen("on the dirty side a blinded filter lowers the vacuum", shows=Shows("vacuum_air_only_pa", -10)),
      S: unseen("on the dirty side a blinded filter lowers the vacuum", shows=Shows("vacuum_air_only_pa", -10)), M: trip("FILTER_DP_HIGH", 45)}),
    R("filter_blinding", MID_FILL, unseen("a hundredth of the dust of a batch is nothing in a few cycles; hundreds are not run here", run_s=200)),
    R("filter_torn", MID_FILL, {B: unseen("no pressure drop is measured: not detectable; air-only vacuum rises", shows=Shows("vacuum_air_only_pa", 5)),
      S: unseen("no pressure drop is measured: not detectable; air-only vacuum rises", shows=Shows("vacuum_air_only_pa", 3)), M: trip("FILTER_DP_LOW", 4.5)}),
    R("filter_not_refitted", MID_FILL, {B: unseen("no pressure drop is measured: not detectable; air-only vacuum rises", shows=Shows("vacuum_air_only_pa", 5)),
      S: unseen("no pressure drop is measured: not detectable; air-only vacuum rises", shows=Shows("vacuum_air_only_pa", 3)), M: trip("FILTER_DP_LOW", 4.5)}),
    R("filter_wet", MID_FILL, {B: unseen("no pressure drop is measured; on the dirty side the vacuum falls", shows=Shows("vacuum_air_only_pa", -10)),
      S: unseen("no pressure drop is measured; on the dirty side the vacuum falls", shows=Shows("vacuum_air_only_pa", -3)),
      M: trip("FILTER_DP_HIGH", 180, ("FILTER_DP_HIGH", 100), may=("CLEANING_WEAK",))}),
)

VESSEL = (
    R("vessel_not_consuming", "10s", {B: holds("vessel full", 220, ("LEVEL_NEVER_CLEARS", 2_100)), S: holds("vessel full", 280, ("LEVEL_NEVER_CLEARS", 2_100)),
      M: holds("vessel full", 620, ("LEVEL_NEVER_CLEARS", 2_500))}),
    # emptying slow, next fill short; without a probe the body is overfull; the vacuum-held flap hangs open too long
    R("vessel_not_vented", "clear#2", {B: trip("VACUUM_TOO_HIGH|LINE_BLOCKED", 120, ("VACUUM_TOO_HIGH", 80)), S: trip("FLAP_NOT_CLOSED", 10), M: trip("FILL_TOO_FAST", 260, ("FILL_TOO_FAST", 220))}),
    # a reading under -1 kPa at rest refuses the start; it holds the vacuum-held flap shut under its batch
    R("vessel_pressurised", {B: "48s", S: "clear#2", M: "180s"}, {S: trip("FLAP_NOT_OPEN", 9), B: unseen("the pressure presses the flap shut and the vent is open: nothing to read at rest; in the drain no row looks", changed=PRESSED),
      M: trip("RECEIVER_OVERFULL", 50, changed=PRESSED + "; air through the bypass holds the powder up")}),
    # the vessel fills, then is emptied again but for the wall of product at the probe
    R("vessel_rat_hole", "level_hold#1", {B: holds("vessel full", 1, ("LEVEL_NEVER_CLEARS", 1_810)), S: holds("vessel full", 1, ("LEVEL_NEVER_CLEARS", 1_810)),
      M: holds("vessel full", 1, ("LEVEL_DISAGREES", 900))}, beside={B: ("vessel_not_consuming@10s+190s",), S: ("vessel_not_consuming@10s+270s",), M: ("vessel_not_consuming@10s+600s",)}),
    R("vessel_tipped_into", MID_FILL, {B: holds("vessel full", 320), S: holds("vessel full", 250), M: holds("vessel full", 450)}, amount=0.1),
    # the heap stands in the open flap while the wall is bare: level clear, one retry, trip
    R("heap_under_flap", {B: "drain#4", S: "drain#8", M: "drain#8"}, {B: trip("FLAP_NOT_CLOSED", 17), M: trip("FLAP_NOT_CLOSED", 22), S: trip("FLAP_NOT_CLOSED", 6)}, beside=NOT_CONSUMING),
)
# fmt: on
