"""What a reading says the moment it is taken: whether it fits, and whether enough is read."""
