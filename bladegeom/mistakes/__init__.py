"""What went wrong in the reading."""
