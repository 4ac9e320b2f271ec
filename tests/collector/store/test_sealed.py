"""Packing a day loses nothing, whatever the values."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from analysis.readings.readings import Readings
from collector.store.sealed import pack_day, unpack_days

values = st.one_of(
    st.floats(allow_nan=True, allow_infinity=False),
    st.integers(-2000, 2000).map(lambda i: i / 10),
    st.integers(-2000, 2000).map(lambda i: i / 16),
)
days = st.dictionaries(st.integers(0, 86_399_999), values, min_size=1, max_size=60)


@given(st.lists(days, min_size=1, max_size=3))
def test_pack_day_unpack_is_exact(contents: list[dict[int, float]]) -> None:
    """Any readings come back bit for bit, over several days."""
    packed, expected_t, expected_v = [], [], []
    for i, content in enumerate(contents):
        items = sorted(content.items())
        t = [i * 86_400_000 + t for t, _ in items]
        v = [v for _, v in items]
        packed.append(pack_day(Readings.of(t, v)))
        expected_t += t
        expected_v += v
    found = unpack_days(packed)
    assert found.time_ms.tolist() == expected_t
    np.testing.assert_array_equal(found.value, np.array(expected_v))
