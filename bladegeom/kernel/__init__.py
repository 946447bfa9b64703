"""Least squares and the law of doubt, on plain arrays."""
