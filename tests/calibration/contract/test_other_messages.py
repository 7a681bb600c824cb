"""Presence, stored, orders and answers: what is said is what is heard, and garbage is refused in words."""

import json
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.contract.messages import MessageError
from calibration.contract.orders import (
    Action,
    Answer,
    AnswerState,
    Order,
    decode_answer,
    decode_order,
    encode_answer,
    encode_order,
)
from calibration.contract.presence import (
    Obeys,
    Presence,
    Stored,
    decode_presence,
    decode_stored,
    encode_presence,
    encode_stored,
)
from calibration.contract.topics import KINDS, is_station, station_and_kind, topic

_BOOTS = st.from_regex(r"[0-9]{8}-[0-9a-f]{8}", fullmatch=True)
_WORDS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=30)
_WHOLE = st.integers(0, 2**53)
_JSON: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=10,
)
_FINITE_JSON = st.none() | st.booleans() | _WHOLE | st.floats(-1e9, 1e9) | _WORDS

PRESENCES = st.builds(
    Presence,
    state=st.sampled_from(["up", "gone"]),
    rig=_WORDS,
    boot=_BOOTS,
    connect=_WHOLE,
    holds=st.dictionaries(_BOOTS, st.tuples(_WHOLE, _WHOLE), max_size=3),
    speed=st.floats(0, 1e6),
    simulated=st.booleans(),
    synchronised=st.booleans(),
    version=_WORDS,
    obeys=st.none()
    | st.builds(
        Obeys,
        store=_WORDS,
        epoch=_WHOLE,
        n=_WHOLE,
        boots=st.dictionaries(_BOOTS, _WHOLE, max_size=3),
    ),
    trouble=st.lists(_WORDS, max_size=3).map(tuple),
)
STOREDS = st.builds(
    Stored,
    store=_WORDS,
    epoch=_WHOLE,
    n=_WHOLE,
    boots=st.dictionaries(_BOOTS, _WHOLE, max_size=3),
    window=st.integers(1, 1000),
    keep=st.none() | st.tuples(_BOOTS, _WHOLE),
)
ORDERS = st.builds(
    Order,
    order=_WORDS,
    store=_WORDS,
    boot=_BOOTS,
    not_after_s=st.floats(-1e9, 1e9),
    do=st.sampled_from(Action).map(str) | _WORDS,
    fields=st.dictionaries(_WORDS, _FINITE_JSON, max_size=3),
    run=st.none() | _WORDS,
)
ANSWERS = st.builds(
    Answer,
    order=_WORDS,
    state=st.sampled_from(AnswerState),
    reason=st.none() | _WORDS,
    seq=st.none() | st.integers(1, 2**53),
)
DECODERS = [decode_presence, decode_stored, decode_order, decode_answer]


@given(PRESENCES)
def test_presence_arrives_as_it_was_sent(presence: Presence) -> None:
    assert decode_presence(encode_presence(presence)) == presence


@given(STOREDS)
def test_what_is_stored_arrives_as_it_was_sent(stored: Stored) -> None:
    assert decode_stored(encode_stored(stored)) == stored


@given(ORDERS)
def test_an_order_arrives_as_it_was_sent(order: Order) -> None:
    assert decode_order(encode_order(order)) == order


@given(ANSWERS)
def test_an_answer_arrives_as_it_was_sent(answer: Answer) -> None:
    assert decode_answer(encode_answer(answer)) == answer


@pytest.mark.parametrize("decode", DECODERS)
@given(payload=st.binary(max_size=200) | _JSON.map(lambda value: json.dumps(value).encode()))
def test_garbage_is_refused_in_words(decode: Callable[[bytes], Any], payload: bytes) -> None:
    with pytest.raises(MessageError, match="."):
        decode(payload)


@given(
    st.one_of(
        st.tuples(st.just(decode_presence), PRESENCES.map(encode_presence)),
        st.tuples(st.just(decode_stored), STOREDS.map(encode_stored)),
        st.tuples(st.just(decode_order), ORDERS.map(encode_order)),
        st.tuples(st.just(decode_answer), ANSWERS.map(encode_answer)),
    ),
    st.data(),
)
def test_a_message_with_any_damaged_field_is_taken_or_refused_but_never_breaks_the_reader(
    case: tuple[Callable[[bytes], Any], bytes], data: st.DataObject
) -> None:
    decode, payload = case
    fields = json.loads(payload)
    name = data.draw(st.sampled_from(sorted(fields)))
    if data.draw(st.booleans()):
        del fields[name]
    else:
        fields[name] = data.draw(_JSON)
    try:
        decode(json.dumps(fields).encode())
    except MessageError as error:
        assert str(error)


@pytest.mark.parametrize("decode", DECODERS)
def test_a_message_of_an_unknown_contract_is_refused(decode: Callable[[bytes], Any]) -> None:
    with pytest.raises(MessageError, match="contract 2"):
        decode(b'{"contract": 2}')


@pytest.mark.parametrize("decode", DECODERS)
def test_a_field_nested_beyond_all_depth_is_refused_in_words(decode: Callable[[bytes], Any]) -> None:
    for depth in (200, 900, 30_000):
        nested = b"[" * depth + b"]" * depth
        with pytest.raises(MessageError, match="."):
            decode(b'{"contract": 1, "store": ' + nested + b', "state": ' + nested + b', "boot": "\\u0031"}')


@pytest.mark.parametrize("decode", DECODERS)
def test_a_message_over_the_limit_of_the_wire_is_refused(decode: Callable[[bytes], Any]) -> None:
    with pytest.raises(MessageError, match="over the limit of 65536"):
        decode(b'{"contract": 1}' + b" " * 65_536)


def test_a_topic_names_its_station_and_kind() -> None:
    for kind in KINDS:
        assert station_and_kind(topic("station-1", kind)) == ("station-1", kind)
    assert topic("+", "stored") == "ohmbath/1/+/stored"


@given(st.text(max_size=60))
def test_any_other_topic_is_nobody_s(text: str) -> None:
    named = station_and_kind(text)
    assert named is None or text == topic(*named)


@given(st.text(max_size=40))
def test_a_topic_is_made_of_good_station_names_alone(text: str) -> None:
    if is_station(text):
        assert topic(text, "orders") == f"ohmbath/1/{text}/orders"
    elif text != "+":
        with pytest.raises(ValueError, match="station"):
            topic(text, "orders")
