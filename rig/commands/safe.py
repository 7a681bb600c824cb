"""ohmbath-rig safe: all relays and all excitation off."""

import logging
import sys

import click

from rig.bench_here import check_gpio, log_to_stderr, made
from rig.safe_state import make_safe
from rig.wiring import load_wiring

log = logging.getLogger(__name__)


@click.command("safe")
def command() -> None:
    """Put all relays and all excitation off, and end. The service unit runs it after every stop.

    Each part is tried by itself, so that one that is broken keeps no other on. Exit code 1 if any failed.
    """
    log_to_stderr()
    check_gpio()
    failed = made(lambda: make_safe(load_wiring()))
    for words in failed:
        log.error("not off: %s", words)
    if failed:
        log.error("take the bench's supply away, then look at what is named above")
        sys.exit(1)
