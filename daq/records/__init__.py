"""A run on disk: written as it happens, sealed, rebuilt, recovered, read."""
