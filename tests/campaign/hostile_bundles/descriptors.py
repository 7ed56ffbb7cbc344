"""What can be wrong with what a bundle says of itself."""

import random
from collections.abc import Iterator
from functools import partial

from tests.bundles import (
    described,
    together,
)
from tests.campaign.hostile_bundles.case import (
    FORMULA,
    SCRIPT,
    TAKEN,
    TURNED,
    Hostile,
    Json,
    tables,
)
from ui.club import layout


def resource(place: int, **given: object) -> bytes:
    """A bundle with one of its resources described otherwise."""

    def change(content: Json) -> None:
        for key, value in given.items():
            if value is None:
                content["resources"][place].pop(key, None)
            else:
                content["resources"][place][key] = value

    return together(described(tables(), change))


def facts(**given: object) -> bytes:
    """A bundle whose descriptor says other things of gramwatt."""
    return together(described(tables(), lambda c: c["gramwatt"].update(given)))


def whole(text: bytes) -> bytes:
    """A bundle with such a descriptor."""
    return together(tables() | {layout.DESCRIPTOR: text})


def titled(title: str) -> bytes:
    """A bundle with such a title, name and licence."""

    def change(content: Json) -> None:
        content["title"] = title
        content["contributors"] = [{"title": title}]
        content["licenses"] = [{"name": title}]

    return together(described(tables(), change))


def descriptor_level() -> Iterator[Hostile]:
    """What can be wrong with what a bundle says of itself."""
    files = tables()
    text = files[layout.DESCRIPTOR]
    named = layout.DESCRIPTOR
    yield Hostile(
        "no descriptor",
        lambda: together({p: d for p, d in tables().items() if p != named}),
        "datapackage.json is missing",
    )
    for name, other, words in (
        ("a descriptor in UTF-16", text.decode().encode("utf-16"), "not UTF-8"),
        ("a descriptor of noise", random.Random(4).randbytes(500), "datapackage.json"),
        ("a descriptor that is a list", b"[]", "no JSON object"),
        ("a descriptor that is a number", b"1", "no JSON object"),
        ("a descriptor nested deep", b"[" * 20_000 + b"]" * 20_000, "without end"),
        (
            "a descriptor nested a little too deep",
            b'{"a":' * 60 + b"1" + b"}" * 60,
            "without end",
        ),
        ("a NaN in it", text.replace(b'"format": 1', b'"format": NaN'), "has a NaN"),
        (
            "a number without bounds",
            text.replace(b'"format": 1', b'"format": 1e999'),
            "without bounds",
        ),
        (
            "a number of many thousand digits",
            text.replace(b'"format": 1', b'"format": ' + b"9" * 50_000),
            "without bounds",
        ),
        (
            "a key twice",
            text.replace(b'"format": 1', b'"format": 1, "format": 1'),
            "has a key twice",
        ),
        ("a byte order mark", b"\xef\xbb\xbf" + text, "no JSON"),
        ("half a descriptor", text[: len(text) // 2], "no JSON"),
    ):
        yield Hostile(name, partial(whole, other), words)
    yield Hostile(
        "another standard",
        lambda: together(
            described(tables(), lambda c: c.update({"$schema": "http://x.invalid/"}))
        ),
        "no Data Package",
    )
    for name, path in (
        ("points to another host", "http://example.invalid/entry.json"),
        ("points to a file of this computer", "file:///etc/passwd"),
        ("points up", "../../etc/passwd"),
        ("points to an absolute path", "/etc/passwd"),
        ("points to what is not there", "runs/a/entry.json"),
        ("points through a terminal code", "\x1b[2J"),
    ):
        yield Hostile(name, partial(resource, 0, path=path), "not in the bundle")
    for name, given in (
        ("has data beside a file", {"data": [{"thrust_gf": 9000}]}),
        ("has rules on another host", {"schema": "http://example.invalid/s.json"}),
        ("has a dialect on another host", {"dialect": "http://example.invalid/d"}),
    ):
        yield Hostile(name, partial(resource, 0, **given), "resources")
    yield Hostile("lists a file twice", lambda: resource(0, path="runs.csv"), "twice")
    yield Hostile(
        "a file that is not listed",
        lambda: together(
            described(tables(), lambda c: c["resources"].pop()),
        ),
        "no hash",
    )
    yield Hostile(
        "a wrong hash", lambda: resource(0, hash="sha256:" + "0" * 64), "not the file"
    )
    yield Hostile("no hash", lambda: resource(0, hash=None), "is missing")
    yield Hostile("a weak hash", lambda: resource(0, hash="md5:" + "0" * 32), "hash")
    yield Hostile("another size", lambda: resource(0, bytes=3), "another size")
    yield Hostile("a size below nothing", lambda: resource(0, bytes=-1), "at least")
    yield Hostile(
        "no resources",
        lambda: together(described(tables(), lambda c: c.update(resources=[]))),
        "resources",
    )
    yield Hostile("of another kind", lambda: facts(kind="something"), "kind")
    yield Hostile("of a format to come", lambda: facts(format=2), "format")
    yield Hostile("runs that are not there", lambda: facts(runs=["a", "b"]), "not name")
    yield Hostile(
        "a run that climbs", lambda: facts(runs=["../up"]), "cannot be a file"
    )
    yield Hostile("a thousand runs", lambda: facts(runs=["a"] * 1000), "runs")
    yield Hostile("no runs", lambda: facts(runs=[]), "runs")
    yield Hostile("says it has wire logs", lambda: facts(wire_logs=True), "has no wire")
    yield Hostile("a key that is unknown", lambda: facts(run="rm -rf ."), "run")
    for name, title in (
        ("a script for a title", SCRIPT),
        ("a formula for a title", FORMULA[:100]),
        ("a title turned around", TURNED),
        ("a title that a terminal obeys", "\x1b[31mred\x1b[0m\x07"),
    ):
        yield Hostile(name, partial(titled, title), TAKEN)
    yield Hostile("an endless title", lambda: titled("x" * 5_000), "title")
