"""A saw set up step by step."""
