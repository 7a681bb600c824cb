"""The shop's keys: kept, restored and changed, also where the program is cut off half-way."""

import base64
import datetime
import json
import stat

import pytest
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import padding

from host.seal import key_ring
from host.seal.errors import SealError
from host.seal.key_care import copy_of_keys, rotate, take_copy
from host.seal.key_ring import KeyRing
from host.seal.seal_check import SealState, check_seal
from host.seal.sealing import sealed

pytestmark = pytest.mark.slow

AT = datetime.datetime(2026, 11, 25, 12, 0, tzinfo=datetime.UTC)
SHOP = "Saltmarsh Lane Motor Workshop"
WORDS = "correct horse battery"


class CutOff(BaseException):
    """The power goes."""


@pytest.fixture
def own(tmp_path) -> KeyRing:
    """Keys that a test may change."""
    made = KeyRing(tmp_path / "keys")
    made.make(SHOP)
    return made


def cut_off_after(writes: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have the program end at its write number ``writes + 1``, with half of that file on the disk."""
    whole, done = KeyRing._write, iter(range(10**6))

    def write(ring, name, data):
        if next(done) == writes:
            (ring.folder / f"{name}.part").write_bytes(data[: len(data) // 2])
            raise CutOff
        whole(ring, name, data)

    monkeypatch.setattr(KeyRing, "_write", write)


def test_private_keys_are_their_owner_s_alone(ring):
    for path in ring.folder.glob("*.key"):
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(ring.folder.stat().st_mode) == 0o700


def test_a_new_signing_key_breaks_no_paper_and_the_old_one_says_so(tmp_path, unsealed):
    ring = KeyRing(tmp_path / "keys")
    ring.make(SHOP)
    root, old = ring.root().public_key(), ring.signing_key()
    before = sealed(unsealed, old, shop=SHOP, at=AT)
    statement = json.loads(rotate(ring).read_text("utf-8"))
    after = sealed(unsealed, ring.signing_key(), shop=SHOP, at=AT)
    assert ring.signing_key().number == 2
    assert not (ring.folder / "signing-1.key").exists()
    assert check_seal(before, root).state is SealState.WHOLE
    assert check_seal(after, root).state is SealState.WHOLE
    import base64

    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import padding

    old.certificate.public_key().verify(
        base64.b64decode(statement["signature_by_old_key"]),
        statement["statement"].encode("utf-8"),
        padding.PKCS1v15(),
        hashes.SHA256(),
    )


def test_a_copy_of_the_keys_goes_on_sealing_elsewhere_under_its_passphrase_alone(
    tmp_path, unsealed, ring, root
):
    data = copy_of_keys(ring, "correct horse battery")
    other = KeyRing(tmp_path / "keys")
    with pytest.raises(SealError, match="passphrase"):
        take_copy(other, data, "wrong horse battery")
    assert not other.exists
    take_copy(other, data, "correct horse battery")
    assert check_seal(sealed(unsealed, other.signing_key(), shop=SHOP, at=AT), root).state is SealState.WHOLE
    with pytest.raises(SealError, match="written over"):
        take_copy(other, data, "correct horse battery")
    assert b"BEGIN PRIVATE KEY" not in data


@pytest.mark.parametrize("writes", range(3))
def test_a_change_of_keys_that_was_cut_off_jams_neither_sealing_nor_the_next_change(
    writes, own, unsealed, monkeypatch
):
    root = own.root().public_key()
    with monkeypatch.context() as power, pytest.raises(CutOff):
        cut_off_after(writes, power)
        rotate(own)
    between = sealed(unsealed, own.signing_key(), shop=SHOP, at=AT)
    statement = rotate(own)
    after = sealed(unsealed, own.signing_key(), shop=SHOP, at=AT)
    assert own.signing_key().number == 2
    assert [path.name for path in own.folder.glob("signing-*.key")] == ["signing-2.key"]
    assert statement.name == "rotation-2.json"
    refuse_other_statement(own, 2)
    assert [check_seal(paper, root).state for paper in (between, after)] == [SealState.WHOLE] * 2


def test_a_change_of_keys_that_was_cut_off_before_the_old_key_was_deleted_is_finished_by_the_next(
    own, monkeypatch
):
    with monkeypatch.context() as power, pytest.raises(CutOff):
        called = iter(range(10))

        def forget(ring, number):
            if next(called) == 1:
                raise CutOff

        power.setattr(KeyRing, "forget_privates_but", forget)
        rotate(own)
    assert len(list(own.folder.glob("signing-*.key"))) == 2
    rotate(own)
    assert [path.name for path in own.folder.glob("signing-*.key")] == ["signing-3.key"]
    refuse_other_statement(own, 2)
    refuse_other_statement(own, 3)


def refuse_other_statement(ring: KeyRing, number: int) -> None:
    """The old key says, under its own signature, which key takes its place."""
    statement = json.loads((ring.folder / f"rotation-{number}.json").read_text("utf-8"))
    old, new = ring.signing_certificates()[number - 2 : number]
    old.public_key().verify(
        base64.b64decode(statement["signature_by_old_key"]),
        statement["statement"].encode("utf-8"),
        padding.PKCS1v15(),
        hashes.SHA256(),
    )
    assert json.loads(statement["statement"])["new_sha256"] == new.fingerprint(hashes.SHA256()).hex()


def test_a_copy_takes_along_what_each_key_said_of_the_next(own, tmp_path):
    rotate(own)
    rotate(own)
    other = KeyRing(tmp_path / "other" / "keys")
    take_copy(other, copy_of_keys(own, WORDS), WORDS)
    for number in (2, 3):
        refuse_other_statement(other, number)


def test_two_programs_do_not_change_the_keys_at_once(own, monkeypatch):
    monkeypatch.setattr(key_ring, "WAIT_S", 0.0)
    with own.changing(), pytest.raises(SealError, match="Another program"):
        rotate(own)
    rotate(own)
    assert own.signing_key().number == 2


def test_there_is_nothing_to_change_before_there_are_keys(tmp_path):
    with pytest.raises(SealError, match="no keys yet"):
        rotate(KeyRing(tmp_path / "keys"))


@pytest.mark.parametrize("writes", range(4))
def test_keys_whose_restoring_was_cut_off_can_be_restored_or_made(writes, own, tmp_path, monkeypatch):
    data = copy_of_keys(own, WORDS)
    other = KeyRing(tmp_path / "other" / "keys")
    with monkeypatch.context() as power, pytest.raises(CutOff):
        power.setattr(key_ring.shutil, "rmtree", lambda *arguments, **options: None)
        cut_off_after(writes, power)
        take_copy(other, data, WORDS)
    assert not other.exists
    assert [path.suffix for path in other.folder.parent.rglob("*.part")] != []
    take_copy(other, data, WORDS)
    assert {path.name for path in other.folder.parent.iterdir()} == {"keys", "keys.lock"}
    assert other.root() == own.root()
    assert other.signing_key().certificate == own.signing_key().certificate


def test_half_a_set_of_keys_is_said_and_not_written_over(own, tmp_path):
    other = KeyRing(tmp_path / "other" / "keys")
    other.folder.mkdir(parents=True)
    other.write_public("signing-1", own.signing_key().certificate)
    with pytest.raises(SealError, match="move it away"):
        take_copy(other, copy_of_keys(own, WORDS), WORDS)
    with pytest.raises(SealError, match="move it away"):
        other.make(SHOP)


@pytest.mark.parametrize("part", ["root", "signing", "signing_private", "root_private"])
def test_a_copy_whose_parts_do_not_belong_together_is_refused(part, own, forger, tmp_path):
    kept, others = json.loads(copy_of_keys(own, WORDS)), json.loads(copy_of_keys(forger, WORDS))
    kept[part] = others[part]
    other = KeyRing(tmp_path / "other" / "keys")
    with pytest.raises(SealError, match="do not belong together"):
        take_copy(other, json.dumps(kept).encode("utf-8"), WORDS)
    assert not other.exists


def test_a_key_that_is_not_its_certificate_s_seals_nothing(own, forger, unsealed):
    (own.folder / "signing-1.key").unlink()
    own.write_private("signing-1", forger.signing_key().private)
    with pytest.raises(SealError, match="not the key of its certificate"):
        sealed(unsealed, own.signing_key(), shop=SHOP, at=AT)
