"""The dictionary's rows of the process: level and batch, vacuum and line, filter."""

from controller.events.definition import HOUR_MS, INSTRUMENT, NO_ALARM, PROCESS, STANDS, UPKEEP, Priority
from controller.events.definition import EventDef as E

INFO, LOW, MEDIUM, HIGH = Priority

LEVEL_AND_BATCH = (
    E("LEVEL_HIGH", INFO, "the vessel below is full",
      "normal when it consumes less than is delivered; else probe caked, or outlet stopped",
      "none while the vessel empties; if it is not full, clean the probe",
      NO_ALARM),
    E("LEVEL_NEVER_CLEARS", MEDIUM, "the vessel below has been called full for too long",
      "process below stopped; probe caked (above all if it starves, or the low probe is free), rat-hole "
      "beside the probe, outlet bridged or shut",
      "look into the vessel: empty at the outlet and full at the probe is a caked probe or a rat-hole",
      PROCESS, "the process starves beside a vessel that is called full", 30, again_ms=HOUR_MS),
    E("LEVEL_DISAGREES", MEDIUM, "the high probe is covered while the low one is free",
      "high probe caked; rat-hole or bridge in the vessel; low probe failed",
      "look into the vessel; clean the high probe, break the bridge, or test the low probe",
      INSTRUMENT, "counts as full: the process starves", 30, quiet_in=("IDLE",)),
    E("LEVEL_NOT_SEEN", MEDIUM, "more was delivered than the vessel and its consumption explain",
      "high-level probe failed dry or its wire bridged; consumption lower than set",
      "look into the vessel before the batch is dropped; test the probe; then confirm \"vessel looked at\"",
      PROCESS, "it waits with the batch on board; dropped blind, the vessel runs over", 15, again_ms=HOUR_MS),
    E("LEVEL_CHATTERS", LOW, "the high-level probe switches too often",
      "level right at its edge, probe in the falling stream, loose wire, sensitivity too high",
      "clean and set the probe, or move it out of the stream; a longer on-delay helps at the edge",
      INSTRUMENT, "false holds; the day it sticks, nobody knows the level", 480, quiet_in=("IDLE",)),
    E("BATCH_HELD", MEDIUM, "a batch stands on board for too long",
      "process below stopped, vessel full, or nobody confirmed that it was looked at",
      "let the vessel take it or empty the receiver; a batch held overnight sets",
      PROCESS, "product sets or bridges in the receiver", 30, again_ms=HOUR_MS),
    E("RECEIVER_OVERFULL", HIGH, "the receiver-full probe is still covered after the drain",
      "vessel backed up into the receiver, if its level is high; else product bridging over the flap or set "
      "after a long stand; probe caked",
      "isolate; look into the body from above, never reach through the flap; free the bridge or empty the "
      "vessel, clean the probe; then reset",
      STANDS, "the next batch would fill the filter", 10),
    E("FILL_TOO_FAST", MEDIUM, "the receiver is full much earlier than usual, several times in a row",
      "product left in the body: bridging, or the vessel below not vented; probe caked; heavier feed",
      "look into the body; see that the vessel's vent sock breathes, clean the probe; a longer emptying time "
      "helps; it trips when it goes on",
      PROCESS, "small batches, then a trip", 30),
    E("FILL_TIME_OVER", LOW, "the time ended the batch, not the receiver-full probe, several times in a row",
      "feed weak or its pick-up half blocked; receiver-full probe failed dry; a lighter product",
      "compare what a batch weighs with the usual: light is the feed, as usual is the probe",
      UPKEEP, "lost rate; with the probe dead only the time keeps the body from overfilling", 240),
    E("SHORT_CYCLE", HIGH, "batches end far too early, one after the other",
      "receiver-full probe stuck or its wire broken; body still full",
      "isolate; look into the body and at the probe; then reset",
      STANDS, "source and flap wear themselves out for nothing; the process starves", 10),
)  # fmt: skip

VACUUM_AND_FILTER = (
    E("NO_VACUUM", HIGH, "the body does not come to vacuum, or lost it",
      "hose off or leaking, flap seat dirty, vent or bypass valve open, source dead or iced, motor turning "
      "the wrong way (wrong rotation, after work on its cable); transmitter frozen or its zero drifted",
      "see if supply dips when the source starts: a dip, and the source works: look for the leak at hose, "
      "couplings, seat, vent; no dip, and the source is dead; of a motor check rotation and bypass; compare "
      "the transmitter with a gauge; then reset",
      STANDS, "the receiver stands, product hangs in the line", 10),
    E("LINE_BLOCKED", HIGH, "the conveying line does not clear",
      "plug at the pick-up or in the foot bend, lance buried; vessel below full or its probe failed, product "
      "backed up into the receiver",
      "isolate; open the foot of the riser and the pick-up, the riser's content will fall; then reset",
      STANDS, "the plug sets and hardens", 10),
    E("VACUUM_TOO_HIGH", MEDIUM, "body vacuum is over its high limit",
      "line filling up: too much feed, too little air; a liner on the lance; recipe not changed with the "
      "product; vessel below full or its probe failed, product backed up into the receiver; measured on the "
      "clean side and with a high dp: filter blinded",
      "take feed away or give air at the pick-up; with a high dp look at the filter; after two of three "
      "batches the receiver trips",
      PROCESS, "a plug in the line, and a trip", 10),
    E("VACUUM_NOT_RELEASED", HIGH, "the body stays under vacuum with the source off and the vent open",
      "vent valve stuck or its filter blocked, source valve passing, line plugged; transmitter frozen or its "
      "zero drifted",
      "do not open the flap by hand: let air in at the vent first; check vent, source valve and, against a "
      "gauge, the transmitter; then reset",
      STANDS, "the batch stands on board; whoever opens the body is drawn at", 10),
    E("VACUUM_IN_IDLE", LOW, "body vacuum is not near zero at rest",
      "transmitter zero moved, source valve passing, shared extraction, vessel below under pressure",
      "compare with a gauge; set the zero or find the leak; start stays refused until it is near zero",
      PROCESS, "start is refused", 240, on_ms=2_000),
    E("NO_MATERIAL", LOW, "the line runs empty before the fill time is over",
      "sack or bin empty, lance lifted, product bridging above the pick-up, line-purge valve stuck open "
      "(false air at the feed)",
      "refill or free the feed point; see that the line-purge valve is shut; after some short batches the "
      "receiver pauses and tries again",
      PROCESS, "small batches, then it pauses; the vessel below runs empty", 60),
    E("FILTER_DP_HIGH", MEDIUM, "the pressure drop over the filter is over its limit",
      "filter blinded, wet or overloaded; pulse valve or its supply weak; settling time too short",
      "look at the pulses: does every element get one? drain the separator, change the elements; over the "
      "second limit the receiver trips when it repeats",
      PROCESS, "less rate, then collapse of an element", 60),
    E("FILTER_DP_LOW", MEDIUM, "the pressure drop over the filter is far too low",
      "element missing, torn or not refitted after a wash; seal out of place; transmitter tube off",
      "stop, isolate; look for product at the exhaust; fit the elements and their seals",
      PROCESS, "product goes through the source and out of its exhaust: loss, dust, a worn source", 15),
    E("CLEANING_WEAK", LOW, "the pulses do not clean the filter",
      "wet elements (water in the air, worst in the morning), pulse valve diaphragm dead, pulse wires "
      "swapped, tank not charging",
      "drain the separator of the supply; listen to each pulse valve; change the diaphragm or dry the "
      "elements",
      UPKEEP, "the filter blinds", 240),
    E("PULSE_TANK_WEAK", LOW, "supply air is too low for a cleaning pulse",
      "supply near its limit, tank fill line throttled",
      "raise the supply; the cycle went on without the pulse, so watch the filter",
      UPKEEP, "the filter blinds", 240),
)  # fmt: skip
