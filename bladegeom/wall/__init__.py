"""The wall that the teeth leave."""
