"""Keys and signatures: who is known, who only says so."""

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from daq.errors import InputFault
from daq.places import data_folder
from ui.club import signing

P = signing.FIELD
D = -121665 * pow(121666, -1, P) % P
Point = tuple[int, int]


@pytest.fixture(autouse=True)
def _own_shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "shelf"))


# RFC 8032, section 7.1, tests 1 and 3: published keys, texts and signatures.
RFC_8032 = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33b"
        "acc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f2"
        "90ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
    ),
)


@pytest.mark.parametrize(("secret", "public", "text", "signature"), RFC_8032)
def test_the_library_signs_as_published(
    secret: str, public: str, text: str, signature: str
) -> None:
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.sign(bytes.fromhex(text)).hex() == signature
    assert signing._raw_key(signing.public_text(key)).hex() == public


def add(one: Point, other: Point) -> Point:
    """The curve's own addition (RFC 8032, 5.1), for the points of small order."""
    (x1, y1), (x2, y2) = one, other
    k = D * x1 * x2 * y1 * y2 % P
    x = (x1 * y2 + x2 * y1) * pow(1 + k, -1, P) % P
    y = (y1 * y2 + x1 * x2) * pow(1 - k, -1, P) % P
    return x, y


def with_y(y: int) -> Point:
    """A point of that y."""
    square = (y * y - 1) * pow(D * y * y + 1, -1, P) % P
    x = pow(square, (P + 3) // 8, P)
    if (x * x - square) % P:
        x = x * pow(2, (P - 1) // 4, P) % P
    assert (x * x - square) % P == 0
    return x, y


def test_what_is_refused_as_of_small_order_is_so_and_is_all_there_is() -> None:
    for y in signing.SMALL_ORDER_Y:
        point = with_y(y)
        for _ in range(3):
            point = add(point, point)
        assert point == (0, 1)
    # A cyclic group of eight points has five different y: 1, -1, 0 and two more.
    assert len(signing.SMALL_ORDER_Y) == 5


@pytest.mark.parametrize("y", [*sorted(signing.SMALL_ORDER_Y), P, P + 1])
@pytest.mark.parametrize("sign", [0, 1])
def test_a_key_under_which_anybody_can_sign_is_no_key(y: int, sign: int) -> None:
    import base64

    raw = (y | sign << 255).to_bytes(32, "little")
    public = signing.SCHEME + base64.b64encode(raw).decode()
    with pytest.raises(InputFault, match="is no public key"):
        signing.keep_signer(public, "Anna")


def test_a_signature_fits_its_descriptor_and_no_other() -> None:
    key = Ed25519PrivateKey.generate()
    made = signing.signature_of(b"descriptor", key)
    assert signing.signer_of(b"descriptor", made) == signing.public_text(key)
    with pytest.raises(InputFault, match="pretends to be signed"):
        signing.signer_of(b"descriptor ", made)


def test_a_signature_of_something_else_by_the_same_key_does_not_fit() -> None:
    """What is signed begins with what it is for."""
    import base64
    import json

    key = Ed25519PrivateKey.generate()
    bare = base64.b64encode(key.sign(b"descriptor")).decode()
    made = {"format": 1, "key": signing.public_text(key), "signature": bare}
    with pytest.raises(InputFault, match="pretends"):
        signing.signer_of(b"descriptor", json.dumps(made).encode())


def test_the_own_key_is_made_once_and_is_nobody_elses() -> None:
    assert signing.own_key(make=False) is None
    made = signing.own_key(make=True)
    again = signing.own_key(make=True)
    assert made is not None
    assert again is not None
    assert signing.public_text(made) == signing.public_text(again)
    path = data_folder() / signing.OWN
    assert path.stat().st_mode & 0o077 == 0


def test_a_key_file_that_is_none_says_so() -> None:
    path = data_folder() / signing.OWN
    path.parent.mkdir(parents=True)
    path.write_text("nothing")
    with pytest.raises(InputFault, match="holds no signing key"):
        signing.own_key(make=True)


def test_a_known_signer_is_kept_found_and_forgotten() -> None:
    public = signing.public_text(Ed25519PrivateKey.generate())
    signing.keep_signer(public, "Anna")
    assert signing.known_signers() == {public: "Anna"}
    signing.forget_signer("Anna")
    assert signing.known_signers() == {}
    with pytest.raises(InputFault, match="nobody is kept as Anna"):
        signing.forget_signer("Anna")


def test_a_name_is_not_given_to_a_second_key_by_itself() -> None:
    """Or whoever calls himself like a friend would take the friend's place."""
    first, second = (
        signing.public_text(Ed25519PrivateKey.generate()) for _ in range(2)
    )
    signing.keep_signer(first, "Anna")
    with pytest.raises(InputFault, match="kept already with another key"):
        signing.keep_signer(second, "Anna")


@pytest.mark.parametrize("name", ["", " ", "a\nb", "x" * 61])
def test_a_name_that_is_none_is_refused(name: str) -> None:
    public = signing.public_text(Ed25519PrivateKey.generate())
    with pytest.raises(InputFault, match="name has 1 to 60"):
        signing.keep_signer(public, name)
