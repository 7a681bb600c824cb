"""Orders from desk to rig, and the answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from calibration.contract.messages import (
    MessageError,
    compact_json,
    contract_fields,
    integer_field,
    number_field,
    object_field,
    text_field,
)
from calibration.contract.topics import CONTRACT, is_boot


class Action(StrEnum):
    """What a rig can be ordered to do, with the fields of ``with``."""

    SET_DECADE = "set_decade"  # resistance_ohm
    SET_INSERTION = "set_insertion"  # insertion: a word of readings.Insertion
    SET_RANGE = (
        "set_range"  # range_ohm: a nominal range, or null for its own choice; channel: sender or probe
    )
    SET_RATE = "set_rate"  # passes_per_s
    BURST = "burst"  # duration_s, at most 1; the next pass carries it
    IDENTIFY = "identify"  # blinks the light
    SET_DUTY = "set_duty"  # duty: share of the time that the sender carries current (zero-power step)
    RESTART_SAMPLING = "restart_sampling"  # relays off, own range, usual rate
    READ_EMISSIVITY = "read_emissivity"  # the answer's value
    WRITE_EMISSIVITY = "write_emissivity"  # emissivity, and confirm: WRITE_CONFIRMATION
    HANDS = "hands"  # simulation only: what a person would do at the bath (rig/sim/hands.py)


#: What ``confirm`` must say before a sensor's own memory is written.
WRITE_CONFIRMATION = "write the sensor's memory"

#: Longest burst of one order. [s]
LONGEST_BURST_S = 1.0


class AnswerState(StrEnum):
    """How an order ended."""

    DONE = "done"
    REFUSED = "refused"
    FAILED = "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One order; it takes effect once.

    Attributes
    ----------
    order : str
        Its uuid.
    store, boot : str
        Store that gives it and boot it is meant for; any other is refused.
    run : str or None
        Run it serves.
    not_after_s : float
        Rig time after which it is refused as late. [s]
    do : str
        A word of `Action`; unknown ones are refused by the rig.
    fields : Mapping[str, Any]
        ``with`` on the wire.
    """

    order: str
    store: str
    boot: str
    not_after_s: float
    do: str
    fields: Mapping[str, Any] = field(default_factory=dict)
    run: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """The end of an order.

    Attributes
    ----------
    seq : int or None
        First pass taken wholly after the effect.
    reason : str or None
        Words; present unless done.
    value : float or None
        What was asked for, where an order asks for a number.
    """

    order: str
    state: AnswerState
    reason: str | None = None
    seq: int | None = None
    value: float | None = None


def encode_order(order: Order) -> bytes:
    """Bytes of an order."""
    return compact_json(
        {
            "contract": CONTRACT,
            "store": order.store,
            "order": order.order,
            "boot": order.boot,
            "run": order.run,
            "not_after": order.not_after_s,
            "do": order.do,
            "with": dict(order.fields),
        }
    )


def decode_order(payload: bytes) -> Order:
    """Order of ``payload``, checked against the contract.

    Raises
    ------
    MessageError
        If it is not such a message.
    """
    fields = contract_fields(payload)
    boot = text_field(fields, "boot")
    if not is_boot(boot):
        raise MessageError(f"{boot!r:.40} is not a boot")
    run = fields.get("run")
    if run is not None:
        text_field(fields, "run")
    return Order(
        order=text_field(fields, "order"),
        store=text_field(fields, "store"),
        boot=boot,
        run=run,
        not_after_s=number_field(fields, "not_after"),
        do=text_field(fields, "do"),
        fields=object_field(fields, "with"),
    )


def encode_answer(answer: Answer) -> bytes:
    """Bytes of an answer."""
    fields: dict[str, Any] = {
        "contract": CONTRACT,
        "order": answer.order,
        "state": answer.state.value,
        "reason": answer.reason,
        "seq": answer.seq,
    }
    if answer.value is not None:
        fields["value"] = answer.value
    return compact_json(fields)


def decode_answer(payload: bytes) -> Answer:
    """Answer of ``payload``, checked against the contract.

    Raises
    ------
    MessageError
        If it is not such a message.
    """
    fields = contract_fields(payload)
    state = text_field(fields, "state")
    if state not in tuple(AnswerState):
        raise MessageError(f"state must be one of {', '.join(AnswerState)}, not {state!r:.20}")
    reason = fields.get("reason")
    if reason is not None:
        text_field(fields, "reason")
    return Answer(
        order=text_field(fields, "order"),
        state=AnswerState(state),
        reason=reason,
        seq=None if fields.get("seq") is None else integer_field(fields, "seq", minimum=1),
        value=None if fields.get("value") is None else number_field(fields, "value"),
    )
