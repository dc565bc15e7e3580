"""What runs, proves and draws the logic. Each engine reads the same `Logic`."""
