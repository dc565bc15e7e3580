"""Facts that remember the filter: pulses by group, cleans that are due, and whether they do any good."""

from controller.sequence.batch import Batch
from controller.sequence.definition import DAY_MS, fact, memory, on_delay, percent
from controller.sequence.steps import (
    CLEANS_OFFLINE,
    CLEANS_WITH_DRAIN,
    CONVEY,
    DRAIN,
    DRAWING,
    FROZEN_PA,
    PULSE,
    RECOVER,
    REOPEN,
    SEAL,
    SETTLE,
)


class Cleaning(Batch):
    """Filter clean."""

    offline = fact(lambda s: s.driven and s.set.clean_mode == CLEANS_OFFLINE)
    with_drain = fact(lambda s: s.driven and s.set.clean_mode == CLEANS_WITH_DRAIN)
    cleaned = fact(lambda s: s.was.step == RECOVER and s.step == SETTLE)
    pulse_given = fact(lambda s: s.was.step == PULSE and s.step == RECOVER)

    @memory(first=0, kept=True)
    def batches_since_clean(s) -> int:
        """Batches dropped since the last clean that gave its pulses."""
        return 0 if s.cleaned else min(s.was.batches_since_clean + (1 if s.emptied else 0), 1_000)

    # ---- pulses: group after group, round after round ------------------------------------------------
    @memory(first=1, kept=True)
    def pulse_group(s) -> int:
        """The group whose turn it is; one further after each clean too, so that none is always first."""
        return (
            (s.was.pulse_group + 1 if s.was.pulse_group < s.set.pulse_groups else 1)
            if s.pulse_given or s.cleaned
            else min(s.was.pulse_group, s.set.pulse_groups)
        )

    @memory(first=0)
    def groups_done(s) -> int:
        """Groups pulsed in this round."""
        return (
            (s.was.groups_done + 1 if s.was.groups_done + 1 < s.set.pulse_groups else 0)
            if s.pulse_given
            else s.was.groups_done
            if s.step in (PULSE, RECOVER)
            else 0
        )

    @memory(first=0)
    def rounds_done(s) -> int:
        """Whole rounds of pulses given in this clean."""
        return (
            s.was.rounds_done + (1 if s.pulse_given and s.was.groups_done + 1 >= s.set.pulse_groups else 0)
            if s.step in (PULSE, RECOVER)
            else 0
        )

    @memory(first=0)
    def pulse_on_ms(s) -> int:
        """How long the pulse valve has been open."""
        return min(s.was.pulse_on_ms + s.dt_ms, DAY_MS) if s.was.pulsing else 0

    @memory(first=DAY_MS)
    def pulse_off_ms(s) -> int:
        """How long every pulse valve has been shut."""
        return 0 if s.was.pulsing else min(s.was.pulse_off_ms + s.dt_ms, DAY_MS)

    @memory(first=False)
    def pulsed(s) -> bool:
        """The pulse of this step has begun; a re-opening gives one and no more."""
        return s.step in (PULSE, REOPEN) and s.step == s.was.step and (s.was.pulsed or s.was.pulsing)

    @memory(first=0)
    def fluid_ms(s) -> int:
        """Runs round once for each puff of fluidising air."""
        return (
            s.was.fluid_ms + s.dt_ms
            if s.step == DRAIN and s.was.fluid_ms < s.set.fluidise_on_ms + s.set.fluidise_off_ms
            else 0
        )

    # ---- does the supply dip at a pulse? -------------------------------------------------------------
    @memory(first=0)
    def supply_before_pa_g(s) -> int:
        """Supply air as the last pulse began [Pa gauge]."""
        return s.was.supply_before_pa_g if s.pulsed or s.step == RECOVER else s.supply_pa_g

    @memory(first=0)
    def supply_least_pa_g(s) -> int:
        """Lowest supply air since the last pulse began [Pa gauge]."""
        return min(s.was.supply_least_pa_g, s.supply_pa_g) if s.pulsed or s.step == RECOVER else s.supply_pa_g

    pulse_judged = fact(lambda s: s.was.step == RECOVER and s.step != RECOVER and s.supply_good)
    no_dip = fact(
        lambda s: s.pulse_judged and s.was.supply_before_pa_g - s.was.supply_least_pa_g < s.set.pulse_dip_pa
    )

    @memory(first=0)
    def pulses_without_dip(s) -> int:
        """Pulses in a row at which the supply did not dip."""
        return (
            min(s.was.pulses_without_dip + 1, s.set.cleaning_weak_in_row)
            if s.no_dip
            else 0
            if s.pulse_judged
            else s.was.pulses_without_dip
        )

    no_dips = fact(lambda s: s.was.pulses_without_dip >= s.set.cleaning_weak_in_row)

    # ---- differential pressure: asks for a clean, and shows whether it helped ------------------------
    dp_in_use = fact(lambda s: s.dp_good and s.was.step == CONVEY and s.in_step_ms >= s.set.dp_mask_ms)
    dp_over = fact(lambda s: s.dp_in_use and s.dp_pa >= s.set.dp_warn_pa)
    dp_over_long = on_delay(lambda s: s.dp_over, by="dp_ms")
    dp_far_over = fact(lambda s: s.dp_in_use and s.dp_pa >= s.set.dp_trip_pa)
    dp_far_over_long = on_delay(lambda s: s.dp_far_over, by="dp_ms")
    dp_under = fact(lambda s: s.dp_in_use and s.dp_pa < s.set.dp_min_pa)

    @memory(first=False, kept=True)
    def dp_asked(s) -> bool:
        """The differential pressure asked for a clean, and none was given since."""
        return not s.cleaned and (s.was.dp_asked or s.dp_over_long)

    @memory(first=False)
    def dp_high_batch(s) -> bool:
        """The differential pressure was high in this batch."""
        return (s.was.dp_high_batch or s.dp_over_long) and (s.step in DRAWING or s.broken_off)

    @memory(first=False)
    def dp_high_before(s) -> bool:
        """It was high in the batch before."""
        return s.was.dp_high_batch if s.batch_ended else s.was.dp_high_before

    @memory(first=False)
    def dp_far_batch(s) -> bool:
        """The differential pressure ended this batch."""
        return (s.was.dp_far_batch or s.dp_far_over_long) and (s.step in DRAWING or s.broken_off)

    @memory(first=False)
    def dp_far_before(s) -> bool:
        """It ended the batch before."""
        return s.was.dp_far_batch if s.batch_ended else s.was.dp_far_before

    dp_over_again = fact(lambda s: s.dp_over_long and s.was.dp_high_before)
    dp_far_again = fact(lambda s: s.dp_far_over_long and s.was.dp_far_before)

    @memory(first=0)
    def dp_end_pa(s) -> int:
        """Differential pressure at the end of the last convey [Pa]."""
        return s.dp_pa if s.was.step == CONVEY and s.dp_good else s.was.dp_end_pa

    dp_stands = fact(
        lambda s: (
            s.dp_pa >= max(s.set.dp_min_pa, FROZEN_PA + FROZEN_PA)  # else an error of its zero would do
            and s.dp_pa - s.was.dp_end_pa <= FROZEN_PA
            and s.was.dp_end_pa - s.dp_pa <= FROZEN_PA
        )
    )

    @memory(first=False)
    def dp_frozen(s) -> bool:
        """No air is drawn, and it reads as at the end of convey; forgotten as soon as it moves."""
        return s.dp_stands and (s.was.dp_frozen or s.was.step == SEAL)

    dp_compared = fact(
        lambda s: s.dp_in_use and s.was.step_ms < s.set.dp_mask_ms and s.was.dp_before_pa > s.set.dp_min_pa
    )

    @memory(first=0)
    def dp_before_pa(s) -> int:
        """Differential pressure at the end of the batch that a clean followed; 0 if none did [Pa]."""
        return s.was.dp_end_pa if s.cleaned else 0 if s.step == DRAIN else s.was.dp_before_pa

    @memory(first=0)
    def weak_cleans(s) -> int:
        """Cleans in a row that did not make the differential pressure fall."""
        return (
            s.was.weak_cleans
            if not s.dp_compared
            else min(s.was.weak_cleans + 1, s.set.cleaning_weak_in_row)
            if s.dp_pa > percent(s.was.dp_before_pa, 100 - s.set.cleaning_fall_percent)
            else 0
        )

    cleans_weak = fact(
        lambda s: s.set.cleaning_fall_percent > 0 and s.was.weak_cleans >= s.set.cleaning_weak_in_row
    )
