"""PNG files of flat colours. Rows stand unfiltered: such pictures get smaller so, and trying every filter on every row
takes longer than packing them."""

from __future__ import annotations

import struct
import zlib

import numpy as np

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_DEPTH, _COLOUR = 8, 2  # bits of each of red, green, blue
_EFFORT = 2  # flat colours hardly get smaller with more


def png(pixels: bytes, width: int) -> bytes:
    """Of rows of pixels: red, green, blue, and how much shines through, which is left out."""
    read = np.frombuffer(pixels, np.uint8).reshape(-1, width, 4)
    height = len(read)
    rows = np.zeros((height, 1 + 3 * width), np.uint8)
    rows[:, 1:] = read[:, :, :3].reshape(height, -1)
    head = struct.pack(">IIBBBBB", width, height, _DEPTH, _COLOUR, 0, 0, 0)
    return (
        _SIGNATURE + _chunk(b"IHDR", head) + _chunk(b"IDAT", zlib.compress(rows.data, _EFFORT)) + _chunk(b"IEND", b"")
    )


def _chunk(kind: bytes, content: bytes) -> bytes:
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))
