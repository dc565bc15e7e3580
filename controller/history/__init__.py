"""What a journal says after the event: the alarms of a run in figures, and its events for other programs."""
