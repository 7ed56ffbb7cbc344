"""One example of every message, and strategies that make any."""

from hypothesis import strategies as st

from daq.link import messages as m

U8, U16, U32 = st.integers(0, 0xFF), st.integers(0, 0xFFFF), st.integers(0, 2**32 - 1)
I16 = st.integers(-0x8000, 0x7FFF)
I32 = st.integers(-(2**31), 2**31 - 1)
SETPOINT = st.integers(0, m.THROTTLE_FULL)
NAME = st.text(st.characters(min_codepoint=0x21, max_codepoint=0x7E), max_size=16)

PAGES = st.builds(
    m.ChannelPage,
    index=st.integers(0, 63),
    quantity=st.sampled_from(m.Quantity),
    kind=st.sampled_from(m.Kind),
    width=st.just(4),
    counts_per_unit=st.floats(0.0078125, 1e6, width=32),
    zero_counts=I32,
    low_counts=st.integers(-(2**31) + 1, 0),
    high_counts=st.integers(1, 2**31 - 1),
    gain_u_ppm=U32,
    delay_us=U16,
    name=NAME,
)


@st.composite
def bursts(draw: st.DrawFn) -> m.Burst:
    """A block that lies inside its capture, or the word that none came."""
    total = draw(st.integers(0, 0xFFFF))
    first = draw(st.integers(0, total - 1)) if total else 0
    most = min(m.Burst.MOST, total - first)
    return m.Burst(
        draw(U8),
        draw(st.integers(0, 63)),
        first,
        total,
        draw(st.integers(0, total - 1)) if total else 0,
        draw(U32),
        draw(st.integers(1, 2**32 - 1)),
        draw(I32),
        draw(st.integers(1, 0xFFFF)),
        draw(st.binary(min_size=1, max_size=most)) if total else b"",
    )


@st.composite
def captures(draw: st.DrawFn) -> m.Capture:
    """Any that a stand may be asked for."""
    count = draw(st.integers(1, 0xFFFF))
    return m.Capture(
        draw(U8),
        draw(U16),
        draw(U8),
        draw(U32),
        count,
        draw(st.integers(0, count - 1)),
        draw(st.sampled_from(m.Trigger)),
        draw(I32),
        draw(st.integers(1, m.PATIENCE_MAX_MS)),
    )


FROM_STAND = st.one_of(
    st.builds(
        m.Identity, U8, U8, U8, U16, U32, st.sampled_from(m.Ability), U8, U8, NAME
    ),
    PAGES,
    st.builds(
        m.StreamPage,
        U8,
        st.integers(1, 2**32 - 1),
        st.lists(U8, min_size=1, max_size=24).map(tuple),
    ),
    st.builds(m.Samples, U8, U32, st.binary(max_size=56)),
    st.builds(
        m.Event,
        U32,
        U16,
        U16,
        st.sampled_from([x for x in m.State if x]),
        st.sampled_from(m.Cause),
        U16,
        U8,
        U8,
        I32,
        SETPOINT,
    ),
    st.builds(m.Reply, U8, U16, st.sampled_from(m.Verdict), U32, U32),
    st.builds(
        m.Counters,
        U32,
        U16,
        st.sampled_from([x for x in m.State if x]),
        U16,
        U16,
        SETPOINT,
        U16,
        U16,
        U16,
        U16,
        U16,
    ),
    bursts(),
)


@st.composite
def limit_entries(draw: st.DrawFn) -> m.LimitEntry:
    low, high = sorted((draw(I32 | I16), draw(I32 | I16)))
    return m.LimitEntry(
        draw(st.integers(0, 63)),
        low,
        high,
        draw(st.integers(1, 255)),
        draw(st.integers(1, 255)),
    )


TO_STAND = st.one_of(
    st.builds(m.Who, U8),
    st.builds(m.Limits, st.lists(limit_entries(), max_size=5).map(tuple)),
    st.builds(m.Prove, U16, U16, U16, U16, U32),
    st.builds(m.Arm, U16, U16, U16, U16, U32),
    st.builds(
        m.Throttle,
        U16,
        SETPOINT,
        st.integers(m.LEASE_MIN_MS, m.LEASE_MAX_MS),
        U32,
    ),
    st.builds(m.Stop, st.sampled_from(m.StopReason)),
    st.builds(m.Acknowledge, U16, U16),
    st.builds(m.Lock, U16),
    captures(),
)
