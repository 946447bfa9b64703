"""What the readings of one blade, or of many, say."""
