"""Invented runs for tests of the club's pages: made up, and marked so everywhere.

The invented club is the Tern Lane Model Flyers. Curves follow momentum theory with a
loss that grows, so that they have a maximum where real ones have it; no figure is of
any real part. The same seed gives the same runs.
"""

import hashlib
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ui.club.entry import (
    ArticleTold,
    Curves,
    CurveTold,
    Entry,
    EvidenceTold,
    FindingTold,
    FullTold,
    HoverTold,
    Interval,
    RatingTold,
    ScaleTold,
    key_of,
)
from ui.club.site.shared import Refused, Shared

SENDERS = ("Ada", "Bruno", "Chiyo", "Dag", "Esi", "", "Femi", "Greta")
SIZES_MM = (31.0, 40.0, 51.0, 63.5, 65.0, 71.0, 76.2, 88.9, 102.0)
MOTORS = (
    ("motor A, 1404 size, 4600 Kv", 4600.0),
    ("motor B, 1404 size, 3800 Kv", 3800.0),
    ("motor C, 1103 size, 8000 Kv", 8000.0),
    ("motor D, 1303.5 size, 5500 Kv", 5500.0),
    ("motor E, 0802 size, 19500 Kv", 19500.0),
    ("motor F, 2004 size, 2900 Kv", 2900.0),
)
BY = (
    ("masses", "check masses of class M2, 20 g to 500 g, on 2026-04-18", 0.004),
    ("coins", "twelve coins of known mass, on 2026-03-02", 0.011),
    ("own masses", "things weighed on a kitchen scale, on 2026-02-11", 0.024),
    ("nominal", "nothing: the stand's own constants", 0.05),
)
Values = NDArray[np.float64]


def invented(
    number: int, seed: int = 1, *, stands: int = 8, articles: int | None = None
) -> list[Shared]:
    """So many runs by a few senders, on so many stands."""
    random = np.random.default_rng(seed)
    kinds = max(1, number // 5) if articles is None else articles
    return [one_run(place, random, stands, kinds) for place in range(number)]


def refused() -> list[Refused]:
    """Bundles that were not taken in."""
    return [
        Refused("b-broken.zip", "It is no zip file that can be read."),
        Refused(
            "b-<b>bold</b>.zip",
            "Its file ../../etc/passwd would lie outside of it; nothing was taken.",
        ),
    ]


def one_run(place: int, random: np.random.Generator, stands: int, kinds: int) -> Shared:
    """A run of one of the articles, on one of the stands."""
    kind = place % kinds
    stand = int(random.integers(stands))
    article = article_of(kind)
    entry = Entry(
        format=1,
        run=f"2026-{1 + place % 9:02d}-{1 + place % 28:02d}T1402-staircase-{place:05x}",
        utc=f"2026-{1 + place % 9:02d}-{1 + place % 28:02d}T14:{place % 60:02d}:00Z",
        protocol="staircase",
        article=article,
        stand=key_of(["stand", stand]),
        scale=key_of(["scale", stand, place % 2]),
        density_kg_m3=1.18 + 0.02 * random.random() if place % 4 else None,
        evidence=_evidence(stand, place),
        **_numbers(article, stand, random),
    )
    sender = SENDERS[stand % len(SENDERS)]
    bundle = f"b-{place:05d}.zip"
    return Shared(
        entry=entry,
        bundle=bundle,
        bundle_sha256=hash_of_named(bundle),
        signed_by=(None, None, sender, "")[place % 4],
        licence="CC BY 4.0" if place % 3 else "",
        by=sender,
        checked=_checked(place),
    )


def article_of(kind: int) -> ArticleTold:
    """One of the invented articles."""
    motor, kv = MOTORS[kind % len(MOTORS)]
    diameter_mm = SIZES_MM[kind % len(SIZES_MM)]
    cells = 1 + (kind // 2) % 4
    blades = 2 + kind % 3
    inch = diameter_mm / 25.4
    described = [motor, diameter_mm, cells, blades, kind]
    return ArticleTold(
        key=key_of(described),
        name=f"Tern {inch:.1f} inch {'ABCDEF'[kind % 6]}-{kind}",
        motor=motor,
        kv_rpm_v=kv,
        propeller=f"{inch:.1f} inch, {blades} blades, type {kind % 11}",
        diameter_mm=diameter_mm,
        blades=blades,
        esc=f"ESC of {12 + 4 * (kind % 4)} A",
        source=f"pack of {cells} cells, 450 mAh",
        cells=cells if kind % 7 else None,
        plug="2-pole plug" if kind % 2 else None,
        mount="tractor" if kind % 3 else "pusher",
    )


def _numbers(
    article: ArticleTold, stand: int, random: np.random.Generator
) -> dict[str, Any]:
    """Curves, full throttle, hover and findings."""
    area = math.pi * (article.diameter_mm / 2000) ** 2
    loading = 130.0 + 25 * (stand % 3)
    most_n = loading * area * (0.9 + 0.2 * random.random())
    worth = (0.45 + 0.1 * random.random()) * (1 + 0.01 * (stand - 3))
    thrust = np.linspace(0.08 * most_n, most_n, 24)
    power = _power(thrust, most_n, area, worth)
    throttle = np.linspace(0.15, 1.0, 24) ** 1.0
    by_throttle = most_n * throttle**1.7
    power_by_throttle = _power(by_throttle, most_n, area, worth)
    voltage = 3.7 * (article.cells or 2)
    full_power = float(power[-1])
    ratings = (
        RatingTold(
            part="motor",
            limit_a=1.1 * full_power / voltage,
            current_a=interval(full_power / voltage, 0.01),
            verdict="within",
            of_aircraft=False,
        ),
        RatingTold(
            part="ESC",
            limit_a=(0.9, 1.0, 1.2)[stand % 3] * full_power / voltage,
            current_a=interval(full_power / voltage, 0.01),
            verdict=("beyond", "cannot tell", "within")[stand % 3],
            of_aircraft=False,
        ),
    )
    own, shared = (
        0.006 + 0.004 * random.random(),
        (0.004, 0.011, 0.024, 0.05)[stand % 4],
    )
    return {
        "full": FullTold(
            throttle_frac=1.0,
            thrust_n=interval(most_n, own + shared),
            current_a=interval(full_power / voltage, 0.01),
            voltage_v=interval(voltage, 0.004),
            power_w=interval(full_power, 0.012),
            specific_n_w=interval(most_n / full_power, own + shared),
            ratings=ratings if stand % 5 else (),
        ),
        "hover": HoverTold(
            motors=4,
            all_up_g=round(float(4 * most_n / 9.80665e-3 / 2.5), -1),
            throttle_frac=interval(0.58, 0.01),
            specific_n_w=interval(float(thrust[8] / power[8]), own + shared),
            endurance_s=interval(310.0, 0.06),
        ),
        "curves": Curves(
            specific_thrust=_told(thrust, thrust / power, own, shared),
            thrust_by_throttle=_told(throttle, by_throttle, own, shared),
            current_by_throttle=_told(
                throttle, power_by_throttle / voltage, 0.008, 0.01
            ),
            power_by_throttle=_told(throttle, power_by_throttle, 0.008, 0.011),
            thrust=_told(voltage * throttle, by_throttle, own, shared),
        ),
        "findings": (
            FindingTold(
                id="full-thrust",
                sentence=f"At full throttle it gave {most_n / 9.80665e-3:.0f} gf.",
            ),
            FindingTold(
                id="hover",
                sentence="Four of them hover its aircraft at 58 % throttle.",
                value=0.58,
            ),
        ),
    }


def _power(thrust: Values, most_n: float, area: float, worth: float) -> Values:
    """Ideal power over what part of it is of use, and a draw at rest."""
    ideal = np.sqrt(thrust**3 / (2 * 1.2 * area))
    return np.asarray(ideal / (worth * (1 - 0.25 * thrust / most_n)) + 0.4)


def interval(value: float, half_rel: float) -> Interval:
    """A value with an interval about it."""
    return Interval(
        value=value, low=value * (1 - half_rel), high=value * (1 + half_rel)
    )


def _told(x: Values, y: Values, own: float, shared: float) -> CurveTold:
    both = math.hypot(own, shared)
    shape = 1 + 0.5 * np.linspace(-1, 1, len(x)) ** 2
    return CurveTold(
        x=tuple(float(v) for v in x),
        y=tuple(float(v) for v in y),
        half=tuple(float(v) for v in 2 * both * y * shape),
        own_u_rel=tuple(float(v) for v in own * shape),
        scale_u_rel=(shared,) * len(x),
        dof=40.0,
    )


def _evidence(stand: int, place: int) -> EvidenceTold:
    by, words, u_rel = BY[stand % len(BY)]
    return EvidenceTold(
        simulated=True,
        invented=True,
        stand=f"{0xA1B0 + stand:08x}, board {'ABC'[stand % 3]}",
        guards_itself=stand % 4 != 3,
        scales=(
            ScaleTold(channel="thrust", by=by, words=words, u_rel=u_rel),  # type: ignore[arg-type]
            ScaleTold(channel="current", by="meter", words="a clamp meter", u_rel=0.01),
        ),
        proof=("real pulses", "zero throttle", "none")[place % 3],
        proof_words=(
            "Lease, stop and each limit cut a real pulse.",
            "Lease, stop and each limit were seen to act without a pulse.",
            "",
        )[place % 3],
        ended="completed",
        data="whole",
        air_noted=place % 4 != 0,
        record="re-read" if place % 5 else "tables only",
        words=f"Invented, not measured. Thrust scale by {words}.",
    )


def _checked(place: int) -> tuple[str, ...]:
    if place % 5 == 0:
        return ("There is no wire log, so nothing could be re-derived.",)
    if place % 11 == 0:
        return ("Thrust at full throttle is 251.3 gf by the sender and 250.9 gf here.",)
    return ("The sender's figures and those re-derived here are the same.",)


def hash_of_named(bundle: str) -> str:
    """Of the bundle that ``bundles_of`` writes under a name."""
    return hashlib.sha256(bundle.encode()).hexdigest()


def bundles_of(shared: Sequence[Shared], folder: Path) -> None:
    """A file for each bundle, so that there is something to download."""
    folder.mkdir(parents=True, exist_ok=True)
    for one in shared:
        (folder / one.bundle).write_bytes(one.bundle.encode())  # of which is its hash
