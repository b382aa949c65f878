"""PNG files, read again by somebody else's reader."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from coldframe.charts.png import png


@pytest.mark.parametrize(("height", "width"), [(1, 1), (3, 2), (40, 31)])
def test_every_pixel_is_read_as_it_was_written(height: int, width: int) -> None:
    """Chance colours of any size come back; how much shines through does not."""
    pixels = np.random.default_rng(7).integers(0, 256, (height, width, 4), np.uint8)
    file = png(pixels.tobytes(), width)
    with Image.open(io.BytesIO(file)) as read:
        read.verify()
    with Image.open(io.BytesIO(file)) as read:
        assert (np.asarray(read) == pixels[:, :, :3]).all()


def test_flat_colours_are_packed() -> None:
    """A white page of a picture's size is a few kilobytes."""
    assert len(png(bytes([255]) * 700 * 1200 * 4, 1200)) < 20_000
