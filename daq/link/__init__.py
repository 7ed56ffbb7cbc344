"""Bytes to messages and back. No I/O but in ``ports``."""
