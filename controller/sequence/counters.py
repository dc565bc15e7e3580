"""Facts that remember: the run latch, time in the step, the batch, retries, pulses, resumes."""

from controller.sequence.definition import fact, memory
from controller.sequence.signals import Signals
from controller.sequence.steps import (
    AT_REST,
    BATCH,
    CLEAR,
    CONVEY,
    DAY_MS,
    DRAW,
    DRAWING,
    EMPTY,
    FAULT,
    FROZEN_PA,
    FULL_BELOW,
    HOUR_MS,
    IDLE,
    LEVEL_HOLD,
    NO_AIR,
    NO_ORDER,
    NO_PRODUCT,
    NO_REASON,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    TO_CLEAN,
    TO_EMPTY,
    TO_RUN,
    UNKNOWN,
    VENT,
    WARNING,
)


class Counters(Signals):
    """All memory but that of the signals."""

    # from the tables, and from further down
    trip = fact[bool]()
    wait = fact[bool]()
    source_cmd = fact[bool]()
    start_accepted = fact[bool]()
    clean_accepted = fact[bool]()
    empty_accepted = fact[bool]()
    warn_cancelled = fact[bool]()
    drained = fact[bool]()
    settled = fact[bool]()
    no_material_acts = fact[bool]()
    vacuum_too_high_acts = fact[bool]()
    line_empty = fact[bool]()
    full_stands = fact[bool]()
    starved_stands = fact[bool]()
    air_stands = fact[bool]()

    # ---- the run -------------------------------------------------------------------------------------
    @memory(first=False)
    def run(s) -> bool:
        """The run latch: taken by an accepted start, lost by stop, halt, a cancelled warning, any trip."""
        return (s.was.run or s.start_accepted) and not (s.stop or s.halt or s.warn_cancelled or s.trip)

    @memory(first=NO_ORDER)
    def order(s) -> int:
        """What was asked for at rest and is being done."""
        return (
            NO_ORDER
            if s.step in (REST, FAULT)
            else TO_RUN
            if s.start_accepted
            else TO_CLEAN
            if s.clean_accepted
            else TO_EMPTY
            if s.empty_accepted
            else s.was.order
        )

    @memory(first=False)
    def powered(s) -> bool:
        """False in the first scan after power-up, and only there."""
        return True

    @memory(first=False, kept=True)
    def fault_stored(s) -> bool:
        """A fault outlives the power: only a reset ends it."""
        return s.step == FAULT

    @memory(first=False, kept=True)
    def rest_stored(s) -> bool:
        """The machine stood at rest, warning or not, when the power went."""
        return s.step in IDLE

    @memory(first=False)
    def halted(s) -> bool:
        """At rest because of a halt; the flap output stays as it was until an order is accepted."""
        return s.step in IDLE and (s.was.halted or s.halt)

    @memory(first=False)
    def horn_silenced(s) -> bool:
        """The horn of this fault was acknowledged."""
        return s.step == FAULT and (s.was.horn_silenced or s.acknowledged)

    # ---- time ----------------------------------------------------------------------------------------
    in_step_ms = fact(lambda s: min(s.was.step_ms + s.dt_ms, DAY_MS))
    waiting_in_open = fact(lambda s: s.was.step == OPEN and s.wait)

    @memory(first=0)
    def step_ms(s) -> int:
        """Time in the step, 0 in the scan that enters it."""
        return s.in_step_ms if s.step == s.was.step else 0

    @memory(first=0)
    def open_ms(s) -> int:
        """Time that the flap was given to open; it stands still while low air is waited for."""
        return (
            s.was.open_ms + (0 if s.wait else min(s.dt_ms, DAY_MS - s.was.open_ms))
            if s.step == OPEN and s.was.step == OPEN
            else 0
        )

    @memory(first=0)
    def open_wait_ms(s) -> int:
        """Time that low air was waited for with the flap open."""
        return (
            min(s.was.open_wait_ms + (s.dt_ms if s.wait else 0), DAY_MS)
            if s.step == OPEN and s.was.step == OPEN
            else 0
        )

    @memory(first=0)
    def source_off_ms(s) -> int:
        """Time since the source last acted on the body."""
        return 0 if s.source_cmd else min(s.was.source_off_ms + s.dt_ms, DAY_MS)

    @memory(first=0)
    def flash_ms(s) -> int:
        """Runs round once a second, for the flashing lamp."""
        return s.was.flash_ms + s.dt_ms if s.was.flash_ms < 1_000 else 0

    @memory(first=False)
    def at_its_place(s) -> bool:
        """At rest the flap has reached the place that its output asks for."""
        return s.step in AT_REST and s.was.step in AT_REST and (s.was.at_its_place or s.flap_at_place)

    flap_at_place = fact(lambda s: s.flap_open_proven if s.was.flap_open_cmd else s.flap_proven)

    # ---- the batch -----------------------------------------------------------------------------------
    stored_empty = fact(lambda s: s.was.on_board == EMPTY and s.was.rest_stored)

    @memory(first=UNKNOWN, kept=True)
    def on_board(s) -> int:
        """Product in the receiver: no, yes or unknown. No only after a whole drain."""
        return (
            UNKNOWN
            if not s.was.powered and not s.stored_empty
            else BATCH
            if s.step in DRAWING
            else EMPTY
            if s.drained and not s.trip
            else s.was.on_board
        )

    @memory(first=True, kept=True)
    def line_loaded(s) -> bool:
        """Product stands in the line; trip, halt, power loss and a clear switched off leave it there."""
        return s.step in (DRAW, CONVEY) or (s.was.line_loaded and not s.line_cleared)

    line_cleared = fact(
        lambda s: (
            s.step == VENT
            and (
                (s.was.step == CLEAR and (s.line_empty or s.set.clear_ms > 0))
                or (s.was.step == CONVEY and s.no_material_acts)
            )
        )
    )

    @memory(first=False)
    def broken_off(s) -> bool:
        """This batch was broken off by low air and is to be gone on with."""
        return (s.was.broken_off or (s.was.step in DRAWING and s.step == LEVEL_HOLD)) and (
            s.step in (SEAL, REOPEN, PURGE, DRAW, CONVEY) or (s.step == LEVEL_HOLD and not s.full_stands)
        )

    @memory(first=0)
    def filled_ms(s) -> int:
        """Fill time of this batch: purge and convey count, a pause for air does not, clear ends it."""
        return (
            max(s.filled_now_ms, s.set.fill_ms)
            if s.step == CLEAR
            else s.filled_now_ms
            if s.step in (PURGE, DRAW, CONVEY) or s.broken_off
            else 0
        )

    filled_now_ms = fact(
        lambda s: min(s.was.filled_ms + (s.dt_ms if s.was.step in (PURGE, CONVEY) else 0), DAY_MS)
    )
    batch_ended = fact(lambda s: s.was.step in (CONVEY, CLEAR) and s.step == VENT)

    @memory(first=0)
    def short_batches(s) -> int:
        """Batches in a row that ended for want of material; a start begins to count anew."""
        return (
            0
            if s.step == WARNING
            else min(s.was.short_batches + 1, s.set.short_batches_max)
            if s.was.step == CONVEY and s.step == VENT and s.no_material_acts
            else 0
            if s.was.step == CONVEY and s.step in (CLEAR, VENT) and s.run
            else s.was.short_batches
        )

    @memory(first=False)
    def high_batch(s) -> bool:
        """High vacuum ended this batch; a pause for air does not make it forgotten."""
        return (s.was.high_batch or s.vacuum_too_high_acts) and (s.step in DRAWING or s.broken_off)

    @memory(first=False)
    def high_before(s) -> bool:
        """High vacuum ended the batch before."""
        return s.step != WARNING and (s.was.high_batch if s.batch_ended else s.was.high_before)

    @memory(first=False)
    def high_before_that(s) -> bool:
        """High vacuum ended the batch before that."""
        return s.step != WARNING and (s.was.high_before if s.batch_ended else s.was.high_before_that)

    @memory(first=False)
    def proved(s) -> bool:
        """Vacuum has passed the proving threshold since the source was started."""
        return s.step in (PURGE, DRAW, CONVEY) and (
            s.was.proved or (s.was.step in (PURGE, DRAW) and s.vacuum_pa >= s.set.proving_pa)
        )

    # ---- a living vacuum transmitter moves when the source goes on and off ---------------------------
    @memory(first=0)
    def vacuum_least_pa(s) -> int:
        """Lowest vacuum since the seal of this batch [Pa]."""
        return s.vacuum_pa if s.step == SEAL else min(s.was.vacuum_least_pa, s.vacuum_pa)

    @memory(first=0)
    def vacuum_most_pa(s) -> int:
        """Highest vacuum since the seal of this batch [Pa]."""
        return s.vacuum_pa if s.step == SEAL else max(s.was.vacuum_most_pa, s.vacuum_pa)

    vacuum_still = fact(lambda s: s.was.vacuum_most_pa - s.was.vacuum_least_pa <= FROZEN_PA)

    @memory(first=False)
    def vacuum_frozen(s) -> bool:
        """The reading did not move over source on and off; forgotten as soon as it moves again."""
        return s.vacuum_still and (
            s.was.vacuum_frozen or (s.was.step == VENT and s.in_step_ms >= s.set.release_limit_ms)
        )

    # ---- retries, pulses, cleaning -------------------------------------------------------------------
    @memory(first=0)
    def flap_retries(s) -> int:
        """Re-openings in this seal, to clear product off the seat."""
        return (
            s.was.flap_retries + (1 if s.step == REOPEN and s.was.step == SEAL else 0)
            if s.step in (SEAL, REOPEN)
            else 0
        )

    @memory(first=0)
    def open_retries(s) -> int:
        """Second tries to open after another vent."""
        return (
            s.was.open_retries + (1 if s.step == VENT and s.was.step == OPEN else 0)
            if s.step in (VENT, OPEN)
            else 0
        )

    @memory(first=False)
    def recovery(s) -> bool:
        """This emptying is for a batch found on board; it is always followed by a clean."""
        return s.step not in (REST, FAULT, SEAL, LEVEL_HOLD) and (
            s.was.recovery or (s.was.step in (WARNING, LEVEL_HOLD) and s.step == VENT)
        )

    @memory(first=0, kept=True)
    def batches_since_clean(s) -> int:
        """Batches dropped since the last clean that gave its pulses."""
        return (
            0
            if s.was.step == RECOVER and s.step == SETTLE
            else min(s.was.batches_since_clean + (1 if s.drained else 0), 1_000)
        )

    @memory(first=0)
    def pulses_done(s) -> int:
        """Pulses given in this clean."""
        return (
            s.was.pulses_done + (1 if s.was.step == PULSE and s.step == RECOVER else 0)
            if s.step in (PULSE, RECOVER)
            else 0
        )

    @memory(first=0)
    def pulse_on_ms(s) -> int:
        """How long the pulse valve has been open."""
        return min(s.was.pulse_on_ms + s.dt_ms, DAY_MS) if s.was.pulse_1_cmd else 0

    @memory(first=DAY_MS)
    def pulse_off_ms(s) -> int:
        """How long the pulse valve has been shut."""
        return 0 if s.was.pulse_1_cmd else min(s.was.pulse_off_ms + s.dt_ms, DAY_MS)

    @memory(first=False)
    def pulsed(s) -> bool:
        """The pulse of this step has begun; a re-opening gives one and no more."""
        return s.step in (PULSE, REOPEN) and s.step == s.was.step and (s.was.pulsed or s.was.pulse_1_cmd)

    # ---- hold and resume -----------------------------------------------------------------------------
    @memory(first=NO_REASON)
    def hold_reason(s) -> int:
        """Why it holds; the first that stands, and it may change in place."""
        return (
            NO_REASON
            if s.step != LEVEL_HOLD
            else FULL_BELOW
            if s.full_stands
            else NO_PRODUCT
            if s.starved_stands
            else NO_AIR
            if s.air_stands
            else NO_REASON
        )

    @memory(first=False)
    def air_hold(s) -> bool:
        """This hold was entered for want of air."""
        return s.step == LEVEL_HOLD and (s.was.air_hold or s.wait)

    resumes = fact(lambda s: s.was.air_hold and s.step == SEAL)

    @memory(first=0)
    def resumes_in_row(s) -> int:
        """Returns from a pause for air since the last whole batch."""
        return (
            0
            if s.step == WARNING or s.batch_ended
            else min(s.was.resumes_in_row + (1 if s.resumes else 0), s.set.resumes_in_row_max)
        )

    @memory(first=0)
    def resume_bucket_ms(s) -> int:
        """A leaky bucket: each resume fills it by the spacing, an hour is full."""
        return max(s.was.resume_bucket_ms - s.dt_ms, 0) + (s.set.resume_spacing_ms if s.resumes else 0)

    resume_allowed = fact(
        lambda s: (
            s.was.resumes_in_row < s.set.resumes_in_row_max
            and s.was.resume_bucket_ms + s.set.resume_spacing_ms <= HOUR_MS
        )
    )
