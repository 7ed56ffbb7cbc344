"""The window: thin widgets over models that run without Qt."""
