"""Counts to physical values, with how well the factors are known."""
