"""What follows for the saw and for the blade."""
