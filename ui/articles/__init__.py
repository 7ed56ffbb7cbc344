"""The articles of the invented scenario, TOML: examples to copy, and the demo's own."""

from importlib import resources
from importlib.resources.abc import Traversable


def example_article() -> Traversable:
    """The demo's article."""
    return resources.files(__name__).joinpath("indoor-quad-a.toml")
