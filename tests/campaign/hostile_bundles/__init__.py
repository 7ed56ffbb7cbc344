"""Bundles that somebody made to do harm, or that were damaged on their way.

Each is a name, what it is like, and what has to become of it: refused with words that
say why, or taken with what was in it defused. Every one is made of a real bundle of a
simulated run, so that it is right in everything but the one thing that is wrong.
"""
