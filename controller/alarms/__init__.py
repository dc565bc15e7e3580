"""Alarms: pure observers of the interlocks. They move nothing; an interlock acts, an alarm tells."""
