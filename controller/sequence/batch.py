"""Facts that remember the batch: what is on board and in the line, how it was filled, how it ended."""

from controller.sequence.definition import DAY_MS, fact, memory, on_delay, percent
from controller.sequence.source import Source
from controller.sequence.steps import (
    AT_REST,
    BATCH,
    CLEAR,
    CONVEY,
    DRAIN,
    DRAW,
    DRAWING,
    EMPTY,
    FAULT,
    FROZEN_PA,
    LEVEL_HOLD,
    OPEN,
    PULSE,
    PURGE,
    RECOVER,
    REOPEN,
    REST,
    SEAL,
    SETTLE,
    UNKNOWN,
    VENT,
    WARNING,
)


class Batch(Source):
    """One batch from draw to drain."""

    no_material_acts = fact[bool]()  # from INTERLOCKS
    vacuum_too_high_acts = fact[bool]()
    filter_dp_high_acts = fact[bool]()
    level_high_acts = fact[bool]()
    settled = fact[bool]()  # guards
    full_stands = fact[bool]()  # holds
    fill_over = fact[bool]()  # guards

    # ---- emptying: it runs on through a clean that goes with it --------------------------------------
    shut_long = on_delay(lambda s: s.was.step in (DRAIN, PULSE, RECOVER) and s.flap_proven, by="flap_shut_ms")
    emptying_over = fact(lambda s: s.was.emptying_ms + s.dt_ms >= s.set.drain_ms)
    drain_over = fact(
        lambda s: (
            s.was.emptying
            and (s.shut_long or s.emptying_over if s.uncommanded else s.emptying_over and s.flap_open_proven)
        )
    )
    drained = fact(lambda s: s.drain_over and not s.receiver_full and (s.driven or s.shut_long))
    shut_after_clean = fact(
        lambda s: (
            s.settled and s.uncommanded and s.was.on_board != EMPTY and s.flap_proven and not s.receiver_full
        )
    )
    emptied = fact(lambda s: s.drained or s.shut_after_clean)

    @memory(first=False)
    def emptying(s) -> bool:
        """The batch is dropping: from the open flap on, for the emptying time."""
        return (
            s.step in (DRAIN, PULSE, RECOVER)
            and not s.drain_over
            and (s.was.emptying or (s.step == DRAIN and s.was.step == OPEN))
        )

    @memory(first=0)
    def emptying_ms(s) -> int:
        """Time that the batch has been dropping."""
        return min(s.was.emptying_ms + s.dt_ms, DAY_MS) if s.was.emptying and s.emptying else 0

    # ---- what is on board, what is in the line -------------------------------------------------------
    stored_empty = fact(lambda s: s.was.on_board == EMPTY and s.was.rest_stored)

    @memory(first=UNKNOWN, kept=True)
    def on_board(s) -> int:
        """
        Product in the receiver: no, yes or unknown. No only after a whole drain.

        A flap without command drops the batch with any loss of the source: seen open then, hardly filled, or
        looked at after it would not open, nobody knows what is left; else the batch is still there.
        """
        return (
            UNKNOWN
            if (not s.was.powered and not s.stored_empty) or s.manual or s.fell_by_itself
            else BATCH
            if s.step in DRAWING
            else EMPTY
            if s.emptied and not s.trip
            else s.was.on_board
        )

    fell_by_itself = fact(
        lambda s: (
            s.uncommanded
            and s.was.on_board != EMPTY
            and (
                (s.step in (REST, WARNING, FAULT, LEVEL_HOLD) and (s.flap_lost or s.was.step == DRAW))
                or (s.step == FAULT and s.was.step == OPEN)
            )
        )
    )

    @memory(first=True, kept=True)
    def line_loaded(s) -> bool:
        """Product stands in the line; trip, halt, power loss and a clear switched off leave it there."""
        return s.step in (DRAW, CONVEY) or s.jogged > 0 or (s.was.line_loaded and not s.line_cleared)

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
        return (s.was.broken_off or (s.was.step in DRAWING and s.step == LEVEL_HOLD and s.driven)) and (
            s.step in (SEAL, REOPEN, PURGE, DRAW, CONVEY) or (s.step == LEVEL_HOLD and not s.full_stands)
        )

    @memory(first=False)
    def little_drawn(s) -> bool:
        """This batch ended in the first half of its fill: a flap without command may stay shut on it."""
        return s.step in (CLEAR, VENT, OPEN, *AT_REST, FAULT) and (
            s.was.little_drawn
            or (s.was.step in (PURGE, DRAW, CONVEY) and s.filled_now_ms + s.filled_now_ms < s.set.fill_ms)
        )

    @memory(first=False)
    def fell_already(s) -> bool:
        """A flap without command was seen open since the source went off, before it was waited for."""
        return s.step in (VENT, OPEN) and (s.was.fell_already or (s.uncommanded and s.flap_lost))

    @memory(first=False, kept=True)
    def passed_shut(s) -> bool:
        """A flap without command was passed shut since it was last seen open: once is for want of product."""
        return (
            s.was.passed_shut or (s.was.step == OPEN and s.step == DRAIN and s.flap_proven)
        ) and not s.flap_lost

    may_be_empty = fact(
        lambda s: (
            (s.was.on_board != BATCH or (s.was.little_drawn and not s.was.passed_shut) or s.was.fell_already)
            and not s.receiver_full
        )
    )

    # ---- fill time -----------------------------------------------------------------------------------
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
    convey_left = fact(lambda s: s.was.step == CONVEY and s.step in (CLEAR, VENT))
    convey_ended = fact(lambda s: s.was.step == CONVEY and s.step == CLEAR)

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

    full_batch = fact(lambda s: s.convey_ended and s.receiver_full)
    usual_fill_ms = fact(lambda s: percent(s.was.usual_sum_ms, 5))
    fill_now_x4_ms = fact(lambda s: s.filled_now_ms + s.filled_now_ms + s.filled_now_ms + s.filled_now_ms)
    too_fast = fact(
        lambda s: (
            s.full_batch
            and s.was.usual_sum_ms > 0
            and s.filled_now_ms < percent(s.usual_fill_ms, s.set.too_fast_percent)
        )
    )

    @memory(first=0, kept=True)
    def usual_sum_ms(s) -> int:
        """Twenty times the usual time to fill up to the probe: a mean that forgets; 0 until known."""
        return (
            0
            if s.recipe_accepted
            else s.was.usual_sum_ms
            if not s.full_batch or s.too_fast
            else s.fill_now_x4_ms + s.fill_now_x4_ms + s.fill_now_x4_ms + s.fill_now_x4_ms + s.fill_now_x4_ms
            if s.was.usual_sum_ms == 0
            else s.was.usual_sum_ms - percent(s.was.usual_sum_ms, 5) + s.filled_now_ms
        )

    @memory(first=0)
    def too_fast_batches(s) -> int:
        """Batches in a row that were full too soon."""
        return (
            0
            if s.step == WARNING
            else min(s.was.too_fast_batches + 1, s.set.too_fast_in_row + 2)
            if s.too_fast
            else 0
            if s.convey_left
            else s.was.too_fast_batches
        )

    @memory(first=0)
    def time_over_batches(s) -> int:
        """Batches in a row that the fill time ended although there is a probe."""
        return (
            0
            if s.step == WARNING or not s.set.receiver_full_fitted
            else min(s.was.time_over_batches + 1, s.set.time_over_in_row)
            if s.convey_ended and s.fill_over and not s.receiver_full and s.run
            else 0
            if s.convey_left
            else s.was.time_over_batches
        )

    @memory(first=0)
    def short_cycles(s) -> int:
        """Batches in a row under the minimum fill time, though there was material."""
        return (
            0
            if s.step == WARNING
            else min(s.was.short_cycles + 1, s.set.short_cycles_max)
            if s.convey_ended
            and s.run
            and not s.level_high_acts
            and s.filled_now_ms < s.set.fill_min_ms
            and s.filled_now_ms < s.set.fill_ms
            else 0
            if s.convey_left
            else s.was.short_cycles
        )

    # ---- ended by high vacuum ------------------------------------------------------------------------
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
        """Vacuum has been proved since the source was started; without an instrument by its time."""
        return s.step in (PURGE, DRAW, CONVEY) and (
            s.was.proved
            or (
                s.was.step in (PURGE, DRAW)
                and (s.vacuum_present or (s.vacuum_timed and s.in_step_ms >= s.set.proving_ms))
            )
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
    def drew(s) -> bool:
        """The source acted on the body since the seal of this batch; what is only emptied was not drawn."""
        return s.step in DRAWING or (s.was.drew and s.step not in (SEAL, WARNING))

    @memory(first=False)
    def vacuum_frozen(s) -> bool:
        """The reading did not move over source on and off; forgotten as soon as it moves again."""
        return s.vacuum_still and (
            s.was.vacuum_frozen
            or (s.was.step == VENT and s.was.drew and s.in_step_ms >= s.set.release_limit_ms)
        )

    @memory(first=0)
    def vacuum_drawn_pa(s) -> int:
        """Vacuum as the source last drew [Pa]."""
        return s.vacuum_pa if s.step in DRAWING else s.was.vacuum_drawn_pa

    stands_told_ms = fact(lambda s: min(s.set.vent_timed_ms, s.set.release_limit_ms // 2))
    vacuum_stands = fact(
        lambda s: (
            s.vacuum_good
            and not s.under_release
            and s.vacuum_pa - s.was.vacuum_drawn_pa <= FROZEN_PA
            and s.was.vacuum_drawn_pa - s.vacuum_pa <= FROZEN_PA
        )
    )

    # ---- retries -------------------------------------------------------------------------------------
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
    def emptied_again(s) -> bool:
        """This batch is being emptied a second time."""
        return s.step not in (REST, FAULT, SEAL, LEVEL_HOLD) and (
            s.was.emptied_again or (s.was.step in (DRAIN, SETTLE) and s.step == VENT)
        )

    @memory(first=False)
    def recovery(s) -> bool:
        """This emptying is for a batch found on board; it is always followed by a clean."""
        return s.step not in (REST, FAULT, SEAL, LEVEL_HOLD) and (
            s.was.recovery
            or (s.was.step in (WARNING, DRAIN, SETTLE) and s.step == VENT)
            or (s.was.step == LEVEL_HOLD and s.step == VENT and s.was.on_board == UNKNOWN)
        )
