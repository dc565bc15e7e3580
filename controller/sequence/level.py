"""Facts about level: the vessel below, blind while product falls past the probe, and the receiver itself."""

from controller.sequence.definition import DAY_MS, fact, memory, on_delay
from controller.sequence.steps import DRAIN, FILTER_CLEAN, OPEN, REOPEN, TO_CLEAN
from controller.sequence.transmitters import Transmitters

MINUTE_MS = 60_000


class Level(Transmitters):
    """High and low probe of the vessel below, receiver-full probe."""

    order = fact[int]()  # run
    emptied = fact[bool]()  # batch
    emptying = fact[bool]()

    pouring = fact(
        lambda s: (
            (s.was.flap_open_cmd or s.uncommanded)
            and (
                s.was.step in (REOPEN, OPEN, DRAIN)
                or s.was.emptying
                or (s.was.order == TO_CLEAN and s.was.step in FILTER_CLEAN)
            )
        )
    )

    @memory(first=0)
    def since_pour_ms(s) -> int:
        """Time since product last fell past the probe."""
        return 0 if s.pouring else min(s.was.since_pour_ms + s.dt_ms, DAY_MS)

    level_masked = fact(lambda s: s.pouring or s.since_pour_ms < s.set.level_mask_ms)
    level_seen = fact(lambda s: not s.level_masked)
    level_covered_long = on_delay(lambda s: s.level_seen and not s.now.level_free, by="level_on_ms")
    level_free_long = on_delay(lambda s: s.level_seen and s.now.level_free, by="level_on_ms")
    level_clear_long = on_delay(lambda s: s.level_seen and s.now.level_free, by="level_clear_ms")
    level_unsure_ms = fact(lambda s: s.set.level_on_ms + s.set.level_on_ms + s.set.level_on_ms)
    level_unsure = on_delay(
        lambda s: s.level_seen and not s.level_covered_long and not s.level_free_long,
        by="s.level_unsure_ms",
    )
    level_settled = fact(lambda s: s.level_covered_long or s.level_free_long or s.level_unsure)

    @memory(first=True)
    def vessel_full(s) -> bool:
        """Vessel below is full; at power-up until the probe has shown otherwise; flutter counts as full."""
        return (
            s.was.vessel_full
            if s.level_masked
            else s.level_covered_long or s.level_unsure or (s.was.vessel_full and not s.level_free_long)
        )

    # ---- low level below, and the two probes against each other --------------------------------------
    low_uncovered = on_delay(
        lambda s: (
            s.set.level_low_fitted and s.now.level_low_good and s.level_seen and not s.now.level_low_covered
        ),
        by="level_on_ms",
    )
    probes_disagree = fact(lambda s: s.vessel_full and s.low_uncovered)

    @memory(first=True)
    def level_was_free(s) -> bool:
        """High-level probe as last seen outside the mask."""
        return s.now.level_free if s.level_seen else s.was.level_was_free

    level_rose = fact(lambda s: s.level_seen and not s.now.level_free and s.was.level_was_free)
    level_fell = fact(lambda s: s.level_seen and s.now.level_free and not s.was.level_was_free)

    @memory(first=0)
    def level_bucket_ms(s) -> int:
        """A leaky bucket: each change of the high probe fills it by the spacing, a minute is full."""
        return min(
            max(s.was.level_bucket_ms - s.dt_ms, 0)
            + (s.set.level_chatter_spacing_ms if s.level_rose or s.level_fell else 0),
            MINUTE_MS + MINUTE_MS,
        )

    level_flutters = fact(lambda s: s.level_bucket_ms >= MINUTE_MS)

    # ---- delivered since the level was last certain --------------------------------------------------
    level_certain = fact(lambda s: s.level_covered_long or s.low_uncovered or s.now.vessel_seen_request)
    use_over = fact(lambda s: s.set.batch_use_ms > 0 and s.was.use_ms + s.dt_ms >= s.set.batch_use_ms)

    @memory(first=0)
    def use_ms(s) -> int:
        """Runs round once for each batch that is surely used below."""
        return 0 if s.use_over or s.set.batch_use_ms == 0 else s.was.use_ms + s.dt_ms

    @memory(first=0, kept=True)
    def unseen_batches(s) -> int:
        """Batches dropped since the level was last certain, less those surely used."""
        return (
            0
            if s.level_certain
            else min(
                max(s.was.unseen_batches - (1 if s.use_over else 0), 0) + (1 if s.emptied else 0), 10_000
            )
        )

    not_seen = fact(
        lambda s: (
            s.set.not_seen_batches > 0
            and s.was.unseen_batches >= s.set.not_seen_batches
            and not s.now.vessel_seen_request
        )
    )

    # ---- the receiver itself -------------------------------------------------------------------------
    receiver_covered = fact(
        lambda s: s.set.receiver_full_fitted and s.now.receiver_full_good and not s.now.receiver_free
    )
    receiver_full = on_delay(lambda s: s.receiver_covered, by="receiver_full_ms")
    column_below = on_delay(lambda s: not s.now.level_free, by="level_on_ms")
