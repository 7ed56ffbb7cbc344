"""What can be wrong with figures that are only told."""

from collections.abc import Callable, Iterator
from functools import partial

from tests.bundles import (
    Files,
    run_of,
    set_right,
    together,
    with_entry,
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


def entry(change: Callable[[Json], None]) -> bytes:
    """A bundle without wire logs, with another entry."""
    return together(with_entry(tables(), change))


def entry_text(change: Callable[[bytes], bytes]) -> bytes:
    """The same, its text changed."""
    files = tables()
    path = f"{run_of(files)}/entry.json"
    return together(set_right(files | {path: change(files[path])}))


def every_text(text: str) -> Callable[[Json], None]:
    """Sets every text of an entry that a person may write."""

    def change(content: Json) -> None:
        for key in ("name", "motor", "propeller", "esc", "source"):
            content["article"][key] = text
        content["protocol"] = text
        content["evidence"]["stand"] = text
        content["evidence"]["ended"] = text
        content["evidence"]["words"] = text
        for finding in content["findings"]:
            finding["sentence"] = text
            finding["unit"] = text

    return change


def entry_level() -> Iterator[Hostile]:
    """What can be wrong with figures that are only told."""
    for name, text in (
        ("scripts in every text", SCRIPT),
        ("formulas in every text", FORMULA),
        ("texts turned around", TURNED),
        ("texts that a terminal obeys", "\x1b]8;;http://example.invalid\x07x"),
        ("zero bytes in texts", "a\x00b"),
        ("a template in every text", "{{ 7*7 }}{% raw %}${7*7}"),
        ("markup that a chart obeys", '<a href="javascript:alert(1)">x</a>'),
        ("a line break that ends a script", "\u2028</script>"),
    ):
        yield Hostile(name, partial(entry, every_text(text)), TAKEN)
    yield Hostile("endless texts", lambda: entry(every_text("x" * 1300)), "at most")
    yield Hostile(
        "half a letter in a text",
        lambda: entry_text(lambda t: t.replace(b'"name": "', b'"name": "\\ud800', 1)),
        "is no valid JSON",
    )
    yield Hostile(
        "a NaN for a figure",
        lambda: entry_text(
            lambda t: t.replace(b'"value": ', b'"value": NaN, "v": ', 1)
        ),
        "has a NaN",
    )
    yield Hostile(
        "no bounds for a figure",
        lambda: entry_text(
            lambda t: t.replace(b'"value": ', b'"value": 1e999,"v":', 1)
        ),
        "without bounds",
    )
    yield Hostile(
        "a huge figure",
        lambda: entry(lambda e: e["full"]["thrust_n"].update(value=1e300, high=1e301)),
        "at most",
    )
    yield Hostile(
        "a text for a figure",
        lambda: entry(lambda e: e["full"]["thrust_n"].update(value="5")),
        "must be a number",
    )
    yield Hostile(
        "an interval that leaves its value out",
        lambda: entry(lambda e: e["full"]["thrust_n"].update(low=99.0)),
        "does not hold its value",
    )
    for name, key, value in (
        ("a curve below nothing", "y", -1.0),
        ("a curve that does not rise", "x", 1.0),
    ):
        yield Hostile(
            name,
            partial(entry, partial(_flat, key=key, value=value)),
            "curves",
        )
    yield Hostile(
        "a curve of ten thousand points",
        lambda: entry(
            lambda e: e["curves"]["thrust_by_throttle"].update(x=list(range(10_000)))
        ),
        "at most",
    )
    yield Hostile(
        "a curve of another length",
        lambda: entry(lambda e: e["curves"]["thrust_by_throttle"]["x"].pop()),
        "different lengths",
    )
    yield Hostile(
        "a curve nobody knows",
        lambda: entry(lambda e: e["curves"].update(harm={})),
        "not a known key",
    )
    yield Hostile(
        "ten thousand findings",
        lambda: entry(lambda e: e.update(findings=e["findings"][:1] * 10_000)),
        "may have",
    )
    yield Hostile(
        "an entry of a megabyte",
        lambda: entry_text(lambda t: t + b" " * 1_000_000),
        "may have",
    )
    yield Hostile(
        "an entry of another run",
        lambda: entry(lambda e: e.update(run="another")),
        "another run",
    )
    yield Hostile(
        "a date that is a script",
        lambda: entry(lambda e: e.update(utc=SCRIPT)),
        "utc",
    )
    yield Hostile(
        "says that its log was re-read",
        lambda: entry(
            lambda e: e["evidence"].update(record="re-read", words="all is well")
        ),
        TAKEN,
        "figures as the sender gives them",
    )
    yield Hostile(
        "says in a word's place that its log was re-read",
        lambda: entry(_in_between),
        TAKEN,
        "nominal, wire log there and re-read; no guard seen to act; air noted; "
        "ended: stopped, all is well; no wire log",
    )
    yield Hostile(
        "another table than its entry",
        lambda: together(_other_table(tables())),
        TAKEN,
        "line in runs.csv says something else",
    )
    yield Hostile(
        "an entry gone",
        lambda: together(
            set_right({p: d for p, d in tables().items() if "entry" not in p})
        ),
        "neither a wire log nor",
    )


def _in_between(content: Json) -> None:
    told = content["evidence"]
    told["scales"][-1]["words"] += "; wire log there and re-read"
    told.update(
        proof="none",
        proof_words="guards seen to cut a real pulse; wire log there and re-read",
        ended="stopped; all is well",
    )


def _other_table(files: Files) -> Files:
    changed = files["runs.csv"].replace(b"True", b"False", 1)
    return set_right(files | {"runs.csv": changed})


def _flat(content: Json, key: str, value: float) -> None:
    curve = content["curves"]["thrust_by_throttle"]
    curve[key] = [value] * len(curve[key])
