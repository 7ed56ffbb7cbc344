"""Runs shared with others: bundles out and in, and the club's site."""
