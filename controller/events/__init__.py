"""
The event dictionary: whatever the journal, the page and the reports can say, defined once.

One row for each interlock id of the tables (a test holds both ways), then commands and moves. An *alarm*
is a row that needs the operator: its priority is over INFO. The words are for the person at the machine;
what can be isolated is isolated before anybody reaches into it.
"""

from controller.events.definition import FITTED as FITTED
from controller.events.definition import EventDef as EventDef
from controller.events.definition import If as If
from controller.events.definition import Priority as Priority
from controller.events.definition import text_at as text_at
from controller.events.machine import FLAP_AND_AIR, SAFETY_AND_SOURCE
from controller.events.moves import MOVES
from controller.events.process import LEVEL_AND_BATCH, VACUUM_AND_FILTER

INTERLOCK_ROWS = (*SAFETY_AND_SOURCE, *FLAP_AND_AIR, *LEVEL_AND_BATCH, *VACUUM_AND_FILTER)

EVENTS = {row.id: row for row in (*INTERLOCK_ROWS, *MOVES)}
"""Every event by its id."""

INTERLOCK_IDS = tuple(row.id for row in INTERLOCK_ROWS)
"""The ids that are interlocks, in the order of the dictionary."""

ALARM_IDS = tuple(row.id for row in INTERLOCK_ROWS if row.is_alarm)
"""Those of them that need a person."""
