"""Arbor or blade: several mountings."""
