"""The shape of the plate: several rings."""
