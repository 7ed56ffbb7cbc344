"""The shipped protocols, TOML, one a file."""
