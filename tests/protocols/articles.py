"""Articles for tests: the shipped one, with keys changed or taken out."""

import copy
from typing import Any

from daq.records.shelf import Article, load_article
from ui.articles import example_article

SHIPPED = example_article()


def article(*without: str, **changes: object) -> Article:
    """The shipped article; keys are written ``pack__cells`` for ``pack.cells``."""
    data: dict[str, Any] = copy.deepcopy(load_article(SHIPPED).to_dict())
    for key in without:
        table, _, name = key.rpartition("__")
        del (data[table] if table else data)[name]
    for key, value in changes.items():
        table, _, name = key.rpartition("__")
        (data[table] if table else data)[name] = value
    return Article.from_dict(data, "test.toml")
