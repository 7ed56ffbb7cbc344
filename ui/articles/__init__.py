"""The articles of the invented scenario, TOML."""
