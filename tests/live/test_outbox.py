"""The way out of the scan: in order, bounded, and whatever fails out there is told."""

from threading import Event

from controller.scan.outbox import Outbox

LONG_S = 10


def test_what_is_put_in_is_done_in_order():
    done = []
    box = Outbox("test")
    for k in range(100):
        box.put(lambda k=k: done.append(k))
    assert box.close()
    assert done == [*range(100)]


def test_a_blocked_screen_costs_lines_and_no_time():
    go, done = Event(), []
    box = Outbox("test", room=5)
    box.put(lambda: go.wait(LONG_S))
    for k in range(50):
        box.put(lambda k=k: done.append(k))
    assert 44 <= box.dropped <= 46
    go.set()
    assert not box.close()
    assert done == [*range(len(done))]


def test_after_a_failure_nothing_more_is_done_and_it_is_told():
    done = []

    def fail():
        msg = "disk full"
        raise OSError(msg)

    box = Outbox("test")
    box.put(fail)
    box.put(lambda: done.append(1))
    assert not box.close()
    assert (box.failed, done) == (["disk full"], [])
