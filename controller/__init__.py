"""The sequence controller of a vacuum receiver. Imports nothing: the I/O contract must stay light."""
