"""Backends that break one promise each, over one that keeps them all."""

import time
from collections.abc import Callable

from contract import promises
from contract.benches import Bench, MemoryBench
from contract.promises import Promise

from controller.image import Inputs, Outputs
from controller.port import NEVER_MS, IoPort, is_safe


class Passing:
    """Passes everything on."""

    def __init__(self, inner: IoPort) -> None:
        self.inner = inner

    def read(self) -> Inputs:
        return self.inner.read()

    def write(self, outputs: Outputs) -> None:
        self.inner.write(outputs)

    def close(self) -> None:
        self.inner.close()


class Torn(Passing):
    """The currents are those of the read before."""

    before: Inputs | None = None

    def read(self) -> Inputs:
        seen = self.inner.read()
        before, self.before = self.before or seen, seen
        return seen._replace(vacuum_ua=before.vacuum_ua) if seen.image_age_ms <= 10 else seen


class ForgetsTheGap(Passing):
    """Knows the age of the newest image, not what it came to between two reads."""

    def read(self) -> Inputs:
        seen, life = self.inner.read(), self.life
        self.life = seen.io_life
        fresh = seen.io_life != life and seen.image_age_ms < NEVER_MS
        return seen._replace(image_age_ms=0) if fresh else seen

    life = -1


class ForgetsTheImage(Passing):
    """An image that was not refreshed is replaced by defaults."""

    life = -1

    def read(self) -> Inputs:
        seen, life = self.inner.read(), self.life
        self.life = seen.io_life
        return seen if seen.io_life != life else Inputs(image_age_ms=seen.image_age_ms)


class MixesWrites(Passing):
    """Half of the outputs are those of the write before."""

    before = Outputs()

    def write(self, outputs: Outputs) -> None:
        before, self.before = self.before, outputs
        late = not is_safe(before) and not is_safe(outputs) and before != outputs
        mixed = Outputs(*before[:3], *outputs[3:]) if late else outputs
        self.inner.write(outputs if {before, outputs} <= KNOWN else mixed)


KNOWN = {promises.RUNNING, promises.OTHERWISE}


class Waits(Passing):
    """Waits a little for a newer image where there is none."""

    life = -1

    def read(self) -> Inputs:
        seen, life = self.inner.read(), self.life
        self.life = seen.io_life
        if self.life == life:
            time.sleep(1.5 * promises.A_WAIT_S)
        return seen


class HidesTheLoss(Passing):
    """Answers a loss itself, as if the sequence had."""

    linked = False

    def read(self) -> Inputs:
        seen = self.inner.read()
        self.linked = self.linked or seen.image_age_ms < NEVER_MS
        if seen.image_age_ms < NEVER_MS or not self.linked:
            return seen
        self.inner.write(Outputs())
        return self.inner.read()


class KeepsAlive(Passing):
    """Goes on writing when nobody does."""

    last = Outputs()

    def read(self) -> Inputs:
        seen = self.inner.read()
        self.inner.write(self.last)
        return seen

    def write(self, outputs: Outputs) -> None:
        self.last = outputs
        self.inner.write(outputs)


class SavesWrites(Passing):
    """What did not change is not written again, safe values excepted."""

    last: Outputs | None = None

    def write(self, outputs: Outputs) -> None:
        if outputs != self.last or outputs == Outputs():
            self.inner.write(outputs)
        self.last = outputs


class ReadsOn(Passing):
    """Goes on reading when it is closed."""

    closed = False

    def read(self) -> Inputs:
        return Inputs() if self.closed else self.inner.read()

    def close(self) -> None:
        self.closed = True
        self.inner.close()


def over(breach: Callable[[IoPort], IoPort]) -> Callable[[], Bench]:
    """A bench with this in front of its port."""

    def bench() -> Bench:
        made = MemoryBench()
        made.port = breach(made.port)
        return made

    return bench


BREACHES: dict[str, tuple[Callable[[], Bench], Promise]] = {
    "torn": (over(Torn), promises.an_image_is_whole),
    "forgets the gap": (over(ForgetsTheGap), promises.no_input_is_older_than_said),
    "forgets the image": (
        over(ForgetsTheImage),
        promises.an_image_that_is_not_refreshed_stays_and_grows_old,
    ),
    "mixes writes": (over(MixesWrites), promises.outputs_are_taken_whole_and_the_newest_counts),
    "waits": (over(Waits), promises.neither_call_waits),
    "hides the loss": (over(HidesTheLoss), promises.a_link_that_was_lost_stays_lost),
    "replays": (lambda: MemoryBench(forgets=False), promises.a_link_that_was_lost_stays_lost),
    "keeps alive": (over(KeepsAlive), promises.without_write_the_outputs_drop),
    "saves writes": (over(SavesWrites), promises.the_life_counter_moves_with_each_write_and_only_then),
    "reads on": (over(ReadsOn), promises.a_closed_port_says_so),
}
"""Name of a breach: how it is made, and the one promise that it breaks."""
