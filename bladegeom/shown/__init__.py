"""For people: charts, printed answers and cautions."""
