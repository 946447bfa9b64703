"""What each command does; the parser of their options is beside them."""
