"""Why a command is refused, in the words of the one who is told."""

from controller.sequence.definition import Refusal
from controller.sequence.guards import Facts

PERMISSIVES = (
    (Facts.powering_up, "the controller has only just started"),
    (Facts.in_fault, "a fault stands: reset first"),
    (Facts.not_at_rest, "the receiver is not at rest"),
    (Facts.safety_chain_open, "the safety chain is open"),
    (Facts.stop_contact_open, "the stop contact is open"),
    (Facts.stop_asked, "a stop was asked for in the same scan"),
    (Facts.halt, "a halt was asked for in the same scan"),
    (Facts.image_too_old, "the I/O image is too old"),
    (Facts.supply_not_over, "supply air is not over its low limit and hysteresis"),
    (Facts.vacuum_not_good, "the vacuum signal is not good"),
    (Facts.not_near_zero, "body vacuum is not within the release threshold of zero"),
    (Facts.flap_open_uncalled, "the open switch is on and nobody opened the flap"),
    (Facts.flap_both, "both flap switches are on"),
)

REFUSALS = (
    *(Refusal(command, fact, why) for command in ("start", "clean", "empty") for fact, why in PERMISSIVES),
    Refusal("start", Facts.start_was_held, "start is still held from before: let go and press again"),
    Refusal("clean", Facts.start_edge, "a start was asked for in the same scan"),
    Refusal("empty", Facts.start_edge, "a start was asked for in the same scan"),
    Refusal("empty", Facts.clean_asked, "a clean was asked for in the same scan"),
    Refusal("clean", Facts.vessel_full, "the vessel below is full"),
    Refusal("clean", Facts.batch_perhaps_on_board, "there may be a batch on board: empty first"),
    Refusal("empty", Facts.vessel_full, "the vessel below is full"),
    Refusal("reset", Facts.no_fault, "no fault stands"),
    Refusal("reset", Facts.safety_chain_open, "the safety chain is open"),
    Refusal("reset", Facts.image_too_old, "the I/O image is too old"),
    Refusal("reset", Facts.vacuum_over_release, "body vacuum is over the release threshold"),
)
