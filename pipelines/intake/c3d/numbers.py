"""Numbers as the three C3D processor types write them. Whole arrays at a time; no file layout here.

Source: the public C3D user guide (processor types 84, 85, 86). Integers of the DEC type are little-endian; its floats
are the VAX F format, whose two 16-bit halves are exchanged and whose exponent counts from 128 with a leading 0.1
(binary), so a value is a quarter of what IEEE 754 would read from the same bits.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

Processor = Literal["INTEL", "DEC", "MIPS"]

PROCESSORS: dict[int, Processor] = {84: "INTEL", 85: "DEC", 86: "MIPS"}


def int16_view(data: bytes | memoryview, processor: Processor) -> np.ndarray:
    """Signed 16-bit integers from whole bytes, in the file's own byte order and without a copy."""
    return np.frombuffer(data, ">i2" if processor == "MIPS" else "<i2")


def float32_view(data: bytes | memoryview, processor: Processor) -> np.ndarray:
    """32-bit floats from whole bytes, without a copy where the file's form is one that NumPy knows."""
    if processor == "DEC":
        return _vax_f(np.frombuffer(data, "<u2"))
    return np.frombuffer(data, ">f4" if processor == "MIPS" else "<f4")


def int16(data: bytes | memoryview, processor: Processor) -> NDArray[np.int16]:
    """Signed 16-bit integers from whole bytes."""
    return int16_view(data, processor).astype(np.int16)


def float32(data: bytes | memoryview, processor: Processor) -> NDArray[np.float32]:
    """32-bit floats from whole bytes."""
    return float32_view(data, processor).astype(np.float32)


def _vax_f(halves: NDArray[np.uint16]) -> NDArray[np.float32]:
    """Pairs of halves, the more significant first, to half as many floats. Exponents IEEE cannot hold become zero."""
    bits = halves[0::2].astype(np.uint32)
    bits <<= np.uint32(16)
    bits |= halves[1::2]
    bits -= np.uint32(2 << 23)
    # without the 2 just taken away the exponent would be 0 or less: too small for IEEE, and the sign may have gone
    exponent = bits & np.uint32(0xFF << 23)
    small = (exponent == 0) | (exponent >= np.uint32(0xFE << 23))
    if small.any():
        bits[small] = 0
    return bits.view(np.float32)
