"""Everything that can go wrong with a simulated stand, as values with an end."""
