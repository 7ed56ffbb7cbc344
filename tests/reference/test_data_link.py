"""CRC and COBS against published vectors.

Sources: CRC catalogue entry CRC-16/IBM-3740 (check value of "123456789");
S. Cheshire and M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM
Transactions on Networking 7(2), 1999, Figure 3, and the vectors commonly held
to it. Figures in data_link.toml beside this file.
"""

import tomllib
from pathlib import Path

import pytest
from cobs import cobs

from daq.link.framing import crc16, frame

VECTORS = tomllib.loads(
    Path(__file__).with_name("data_link.toml").read_text(encoding="utf-8")
)


def test_crc_has_the_catalogues_check_value() -> None:
    check = int(VECTORS["crc"]["CRC-16/IBM-3740"][6], 16)
    assert crc16(b"123456789") == check


def test_crc_over_payload_and_crc_sent_high_byte_first_is_zero() -> None:
    data = b"123456789"
    assert crc16(data + crc16(data).to_bytes(2, "big")) == 0


@pytest.mark.parametrize(("raw", "encoded"), VECTORS["cobs"]["vectors"])
def test_cobs_gives_the_published_bytes(raw: str, encoded: str) -> None:
    assert cobs.encode(bytes.fromhex(raw)) == bytes.fromhex(encoded)
    assert cobs.decode(bytes.fromhex(encoded)) == bytes.fromhex(raw)


@pytest.mark.parametrize("lengths", VECTORS["cobs"]["long_vectors"], ids=str)
def test_cobs_of_long_runs_has_the_published_ends(lengths: list[object]) -> None:
    raw = {
        "01 02 .. FE": bytes(range(1, 255)),
        "00 01 .. FE": bytes(range(255)),
        "01 02 .. FF": bytes(range(1, 256)),
        "02 03 .. FF 00": bytes([*range(2, 256), 0]),
        "03 04 .. FF 00 01": bytes([*range(3, 256), 0, 1]),
    }[str(lengths[0])]
    encoded = cobs.encode(raw)
    assert (len(raw), len(encoded)) == (lengths[1], lengths[2])
    assert encoded.startswith(bytes.fromhex(str(lengths[3])))
    assert encoded.endswith(bytes.fromhex(str(lengths[4])))


def test_the_worked_example_of_the_link_page() -> None:
    assert frame(bytes.fromhex("41070001")) == bytes.fromhex("0341070401095900")
