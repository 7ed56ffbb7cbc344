"""Names as somebody would choose them who wants a page to run them."""

from dataclasses import replace
from typing import Final

from tests.club.invented import hash_of_named, invented
from ui.club.site.shared import Shared

NAMES: Final = (
    "<script>alert(1)</script>",
    "</script><script>alert(2)</script>",
    "<img src=x onerror=alert(3)>",
    '<a href="javascript:alert(4)">free props</a>',
    "<b>bold</b><br><sub>2</sub>&lt;i&gt;",
    "\"><svg onload=alert('5')>",
    "{{ 7 * 7 }} {% raw %} ${7*7} %{x} %{customdata}",
    "__proto__",
    "line\u2028after\u2029it",
    "\u202eright to left\u202c",
    '=HYPERLINK("http://example.invalid";"click")',
    "'; alert(6); //",
    "-->]]><!--",
)


def hostile() -> list[Shared]:
    """A run for each name, with that name wherever a stranger writes one."""
    runs = invented(len(NAMES), seed=3, articles=len(NAMES))
    return [_named(one, name) for one, name in zip(runs, NAMES, strict=True)]


def _named(shared: Shared, name: str) -> Shared:
    entry = shared.entry
    named = entry.model_copy(
        update={
            "run": name,
            "protocol": name,
            "article": entry.article.model_copy(
                update=dict.fromkeys(
                    ("name", "motor", "propeller", "esc", "source", "plug", "travels"),
                    name,
                )
            ),
            "findings": tuple(
                one.model_copy(update={"sentence": name}) for one in entry.findings
            ),
            "evidence": entry.evidence.model_copy(
                update={
                    "stand": name,
                    "words": name,
                    "proof_words": name,
                    "ended": name,
                    "data": name,
                    "scales": tuple(
                        one.model_copy(update={"words": name})
                        for one in entry.evidence.scales
                    ),
                }
            ),
        }
    )
    bundle = f"b {shared.bundle[2:-4]} #100% \u00e9.zip"
    return replace(
        shared,
        entry=named,
        by=name,
        licence=name,
        signed_by=name,
        checked=(name,),
        bundle=bundle,
        bundle_sha256=hash_of_named(bundle),
    )
