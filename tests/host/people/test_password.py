import pytest
from argon2 import PasswordHasher, Type, extract_parameters
from hypothesis import given, settings
from hypothesis import strategies as st

from host.people.account import PersonError
from host.people.password import LONGEST, SHORTEST, Passwords
from host.people.role import Role
from host.people.sign_in import Refused, SignIn

QUICK = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
GOOD = "four dry brass terminals"


def test_new_hashes_are_made_as_the_standard_recommends():
    # RFC 9106, section 4, second recommended option: Argon2id, t=3, p=4, m=2^16 KiB, 128-bit salt,
    # 256-bit tag. From memory of the document.
    made = extract_parameters(Passwords().hashed(GOOD, person="Ida Marsh"))
    assert made.type is Type.ID
    assert (made.time_cost, made.parallelism, made.memory_cost) == (3, 4, 65536)
    assert (made.salt_len, made.hash_len) == (16, 32)


def test_the_hash_shows_nothing_of_the_password_and_is_never_the_same_twice():
    one, other = (QUICK.hashed(GOOD, person="Ida Marsh") for _ in range(2))
    assert one != other
    assert GOOD not in one
    assert QUICK.matches(one, GOOD) and QUICK.matches(other, GOOD)


@given(typed=st.text(max_size=60))
@settings(max_examples=60)
def test_nothing_but_the_password_matches(typed):
    kept = QUICK.hashed(GOOD, person="Ida Marsh")
    assert QUICK.matches(kept, typed) == (typed == GOOD)


def test_a_letter_typed_in_two_ways_is_the_same_letter():
    kept = QUICK.hashed("caf\u00e9 caf\u00e9 caf\u00e9", person="Ida Marsh")
    assert QUICK.matches(kept, "cafe\u0301 cafe\u0301 cafe\u0301")


@pytest.mark.parametrize("kept", [None, "", "no hash at all", "$argon2id$v=19$m=8,t=1,p=1$bad"])
def test_without_a_hash_nothing_matches(kept):
    assert not QUICK.matches(kept, GOOD)
    assert not QUICK.matches(kept, "")
    assert not QUICK.matches(kept, "nobody at all")


def test_an_endless_password_is_not_even_hashed():
    assert not QUICK.matches(QUICK.hashed("x y z w" * 28, person="Ida Marsh"), "x y z w" * 10_000)
    with pytest.raises(PersonError, match="at most"):
        QUICK.hashed("x y z w" * (LONGEST // 7 + 1), person="Ida Marsh")


def test_length_is_what_is_asked_of_a_password():
    QUICK.hashed("lowercased"[:SHORTEST], person="Ida Marsh")
    with pytest.raises(PersonError, match="has 9"):
        QUICK.hashed("lowercase", person="Ida Marsh")


def test_a_name_that_nobody_has_costs_as_much_as_a_wrong_password(store):
    """Counted in hashes, not in seconds: each answer takes one comparison of the same kind."""
    seen: list[str] = []

    class Counting(PasswordHasher):
        def verify(self, kept, password):
            seen.append(kept.rsplit("$", 2)[0])
            return super().verify(kept, password)

    passwords = Passwords(Counting(time_cost=1, memory_cost=8, parallelism=1))
    sign_in = SignIn(store, passwords)
    store.people.add(
        "Ida Marsh", frozenset({Role.STUDENT}), password_hash=passwords.hashed(GOOD, person="Ida Marsh")
    )
    for name in ("Ida Marsh", "Nobody Here"):
        assert isinstance(sign_in.attempt(name, "not hers at all", address="192.0.2.7"), Refused)
    assert len(seen) == 2 and seen[0] == seen[1]


def test_a_hash_with_weaker_parameters_is_renewed_when_its_person_signs_in(store):
    weak = Passwords(PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    strong = Passwords(PasswordHasher(time_cost=2, memory_cost=16, parallelism=1))
    old = weak.hashed(GOOD, person="Ida Marsh")
    store.people.add("Ida Marsh", frozenset({Role.STUDENT}), password_hash=old)
    sign_in = SignIn(store, strong)
    sign_in.attempt("Ida Marsh", "not hers at all", address="192.0.2.7")
    assert store.people.with_password("Ida Marsh")[1] == old
    assert sign_in.attempt("Ida Marsh", GOOD, address="192.0.2.7").name == "Ida Marsh"
    renewed = store.people.with_password("Ida Marsh")[1]
    assert extract_parameters(renewed).memory_cost == 16
    assert not strong.is_outdated(renewed) and strong.matches(renewed, GOOD)


def test_a_password_that_is_shorter_than_the_rule_of_today_still_signs_in_and_is_renewed(store):
    store.people.add(
        "Ida Marsh", frozenset({Role.STUDENT}), password_hash=PasswordHasher(1, 8, 1).hash("brief")
    )
    strong = Passwords(PasswordHasher(time_cost=2, memory_cost=16, parallelism=1))
    assert SignIn(store, strong).attempt("Ida Marsh", "brief", address="192.0.2.7").name == "Ida Marsh"
