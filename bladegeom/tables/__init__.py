"""Tables of readings: what people write, understood and checked."""
