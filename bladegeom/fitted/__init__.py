"""What the readings say: the fit and its doubt."""
