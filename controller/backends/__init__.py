"""What stands behind the I/O port on a rig."""
