"""Telling a broker: what is published, what is asked for over it, and what outlives a connection."""
