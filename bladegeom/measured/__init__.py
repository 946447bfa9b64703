"""What was read: the blade, its readings, and the tables they come in."""
