"""Invented readings with hidden faults and an answer key."""
