"""Errors by whose fault it is, each one sentence a person can act on.

``GramwattError`` is the only family that commands turn into a sentence and an
exit status; anything else that escapes is a bug of ours.
"""


class GramwattError(Exception):
    """Something went wrong that a person can do something about."""


class InputFault(GramwattError):
    """What was typed or written in a file is wrong; names file and key."""


class StandFault(GramwattError):
    """The stand said something it must not say, or said nothing."""


class WorldFault(GramwattError):
    """Cable, port, disk or another program got in the way."""


class RecordFault(GramwattError):
    """A run folder cannot be read as one."""
