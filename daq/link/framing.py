"""Frames: bytes in, checked payloads out; payloads in, bytes out.

A frame is COBS(payload + CRC-16) followed by one zero byte. Whatever arrives,
cut anywhere, gives payloads or counted drops, never an exception. This module
knows nothing of what a payload means.

Sources: S. Cheshire and M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM
Transactions on Networking 7(2), 1999. CRC-16/IBM-3740 in the CRC catalogue:
polynomial 0x1021, start 0xFFFF, check value 0x29B1.
"""

from binascii import crc_hqx
from dataclasses import dataclass

from cobs import cobs

DELIMITER = b"\x00"
CRC_START = 0xFFFF
MIN_PAYLOAD = 3  # type and sequence
MAX_PAYLOAD = 64
MAX_ENCODED = MAX_PAYLOAD + 2 + 1  # CRC, and one COBS byte for at most 254


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740 of ``data``."""
    return crc_hqx(data, CRC_START)


def frame(payload: bytes) -> bytes:
    """Wrap one payload for the wire, delimiter included.

    Raises:
        ValueError: the payload has fewer than 3 or more than 64 bytes.
    """
    if not MIN_PAYLOAD <= len(payload) <= MAX_PAYLOAD:
        raise ValueError(f"a payload has 3 to 64 bytes, not {len(payload)}")
    checked = payload + crc16(payload).to_bytes(2, "big")
    encoded: bytes = cobs.encode(checked)
    return encoded + DELIMITER


def spoil(wire: bytes) -> bytes:
    """A frame with one bit flipped, which no receiver may take: for the proof.

    Args:
        wire: one whole frame, its delimiter at the end.
    """
    last = wire[-2] ^ (1 if wire[-2] != 1 else 2)  # never a delimiter
    return wire[:-2] + bytes((last,)) + wire[-1:]


@dataclass(slots=True)
class Drops:
    """What the deframer had to give up, by reason.

    Attributes:
        damaged: frames whose COBS or CRC was wrong.
        size: frames too short or too long to be one.
        bytes: wire bytes in all of those, delimiters not counted.
    """

    damaged: int = 0
    size: int = 0
    bytes: int = 0

    @property
    def frames(self) -> int:
        """Frames dropped for any reason."""
        return self.damaged + self.size


class Deframer:
    """Takes bytes as they come and gives whole, checked payloads.

    Holds at most ``MAX_ENCODED + 1`` bytes between calls. The same bytes give
    the same payloads and the same counts however they are cut.
    """

    def __init__(self) -> None:
        self.drops = Drops()
        self._rest = b""

    def feed(self, data: bytes) -> list[bytes]:
        """Payloads (type, sequence, body) completed by ``data``, in order."""
        parts = (self._rest + data).split(DELIMITER)
        rest = parts.pop()
        if len(rest) > MAX_ENCODED + 1:
            # Too long already: keep just enough to know that when it ends.
            self.drops.bytes += len(rest) - (MAX_ENCODED + 1)
            rest = rest[: MAX_ENCODED + 1]
        self._rest = rest
        payloads: list[bytes] = []
        keep = payloads.append
        decode = cobs.decode
        for part in parts:
            if not part:
                continue  # idle delimiters are how a sender clears the line
            if len(part) > MAX_ENCODED:
                self.drops.size += 1
                self.drops.bytes += len(part)
                continue
            try:
                checked = decode(part)
            except cobs.DecodeError:
                checked = b""
            # Sent high byte first, the CRC over payload and CRC is zero.
            if not checked or crc_hqx(checked, CRC_START):
                self.drops.damaged += 1
                self.drops.bytes += len(part)
            elif len(checked) < MIN_PAYLOAD + 2:
                self.drops.size += 1
                self.drops.bytes += len(part)
            else:
                keep(checked[:-2])
        return payloads
