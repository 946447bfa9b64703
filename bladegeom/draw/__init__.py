"""Charts, sheets and texts for people."""
