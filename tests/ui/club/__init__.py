"""Bundles, and what comes in them."""
