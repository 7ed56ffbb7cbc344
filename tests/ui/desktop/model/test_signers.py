"""Whose signature a bundle bears, and whose keys are kept."""

from pathlib import Path

import pytest

from tests.ui.desktop.club_bundles import checked
from ui.club.signing import keep_signer
from ui.desktop.model import signers

#: The first test of RFC 8032, section 7.1: a public key that nobody here made.
PUBLIC = "ed25519:11qYAYKxCrfVS/7TyWQHOg7hcvPapiMlrwIaaPcHURo="


@pytest.fixture(autouse=True)
def _own_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("GRAMWATT_DATA", str(tmp_path / "data"))


def test_a_signature_is_known_unknown_ones_own_or_not_there() -> None:
    signed = checked(signed_by=PUBLIC)
    wren = signers.Keys(known=(signers.Signer("Wren", PUBLIC, ""),))
    unknown = signers.signature_of(signed, signers.Keys())
    assert unknown.kind == signers.UNKNOWN
    assert unknown.key == PUBLIC
    assert unknown.digits in unknown.words
    assert len(unknown.digits.replace(" ", "")) == 16
    known = signers.signature_of(signed, wren)
    assert known.kind == signers.KNOWN
    assert known.words.startswith("Signed by Wren (")
    own = signers.signature_of(signed, signers.Keys(own=PUBLIC))
    assert (own.kind, own.digits) == (signers.OWN, known.digits)
    assert signers.HEADS[own.kind] == "Signed by you"
    none = signers.signature_of(checked(), wren)
    assert (none.kind, none.key, none.digits) == (signers.UNSIGNED, "", "")


def test_a_key_of_ones_own_is_made_only_when_it_is_asked_for() -> None:
    assert signers.read_keys() == signers.Keys()
    made = signers.read_keys(make=True)
    assert made.own.startswith("ed25519:")
    assert signers.read_keys() == made


def test_those_who_are_kept_are_told_by_name() -> None:
    keep_signer(PUBLIC, "wren")
    other = signers.read_keys(make=True).own
    keep_signer(other, "Anna of the club")
    keys = signers.read_keys()
    assert [signer.name for signer in keys.known] == ["Anna of the club", "wren"]
    assert keys.by_key[PUBLIC] == "wren"


def test_what_cannot_be_read_is_a_sentence_and_the_rest_is_told(tmp_path: Path) -> None:
    own = signers.read_keys(make=True).own
    (tmp_path / "data" / "signers.json").write_text("[]")
    keys = signers.read_keys()
    assert keys.own == own
    assert keys.known == ()
    assert "holds no list of signers" in keys.fault
