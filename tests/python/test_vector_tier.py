"""tests/run repeats tests with instruction sets switched off: each such run makes sure that they are."""

from __future__ import annotations

import os

import pytest

import starassay


@pytest.mark.same_bits
def test_vectors_are_no_wider_than_this_run_asks_for() -> None:
    widest = starassay.about()["vector_bits"]
    assert widest in (0, 128, 256, 512)
    # A processor without 512-bit vectors cannot be asked to have them, only to have no more than that.
    assert widest <= int(os.environ.get("STARASSAY_EXPECT_BITS", "512"))
