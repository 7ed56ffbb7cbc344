"""The physics of one bench test, one small class a part, SI throughout."""
