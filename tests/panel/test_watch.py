"""One point watched: how often the hold on it is renewed."""

from threading import Event

import pytest
from panel.rigs import BenchRig

from controller.panel import watch
from controller.panel.messages import Answer, HoldAsked


class Answering:
    """A rig that wants a hold renewed every `renew_ms`."""

    def __init__(self, renew_ms):
        self.renew_ms, self.rig = renew_ms, BenchRig()

    def ask(self, asked):
        points = self.rig.points() if asked.ask == "points" else None
        renewed = {"renew_ms": self.renew_ms} if asked.ask == "hold" else {}
        return Answer(answer="accepted", points=points, **renewed)


class Beats:
    """In place of the event that ends the beating: notes the pauses, ends after three of them."""

    def __init__(self):
        self.pauses, self._over = [], Event()

    def wait(self, pause_s):
        self.pauses.append(pause_s)
        if len(self.pauses) == 3:
            self._over.set()
        return self._over.is_set()

    def set(self):
        assert self._over.wait(10)


@pytest.mark.parametrize(("renew_ms", "pause_s"), [(40, 0.04), (200, 0.2), (400, 0.2)])
def test_a_hold_is_renewed_as_often_as_the_rig_asks_for(renew_ms, pause_s, monkeypatch):
    """A rig of jog_renew_ms 100, the least there is, lets go of what is renewed every 0.2 s only."""
    beats = Beats()
    monkeypatch.setattr(watch, "Event", lambda: beats)
    looked = watch.Watch(Answering(renew_ms), "flap_open_cmd")
    looked.keep(HoldAsked(ask="hold", output="flap_open_cmd"))
    with watch.beating(looked):
        pass
    assert beats.pauses == [pause_s] * 3
