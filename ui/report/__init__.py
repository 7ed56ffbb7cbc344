"""One self-contained page a run."""
