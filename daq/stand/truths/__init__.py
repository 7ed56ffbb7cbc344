"""Figures of the shipped simulated stands, TOML, invented and marked so."""
