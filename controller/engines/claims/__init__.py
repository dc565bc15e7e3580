"""
The promises of the sequence, each said over the facts of one scan and proved for all histories.

A claim reads: in every scan, when `when` then `then`. It holds for all inputs, all presets within their
limits and all histories, power loss included. The order matters: a proved claim helps the next.
"""

from controller.engines.claims.batches import BATCHES, ESCALATIONS, TIMES, TRIPS
from controller.engines.claims.by_hand import MANUAL, MOTOR
from controller.engines.claims.last_word import LAST_WORD
from controller.engines.claims.runs import FAULTS, RUNS
from controller.engines.claims.signals import BOUNDS, SIGNALS
from controller.engines.claims.watched import Watched as Watched

CLAIMS = (*BOUNDS, *SIGNALS, *FAULTS, *RUNS, *MANUAL, *LAST_WORD, *MOTOR, *BATCHES, *ESCALATIONS, *TRIPS, *TIMES)
