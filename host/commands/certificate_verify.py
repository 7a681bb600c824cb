"""``ohmbath certificate verify``: is this file whole, and was it sealed by that key?"""

from pathlib import Path

import click
from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicKey

from host.data_folder import existing_folder
from host.data_option import opened
from host.given_file import read_given
from host.one_line import OneLineCommand, Refusal, json_text
from host.procedures.record.paper_at_desk import LARGEST_PAPER, paper_at_desk
from host.seal.errors import SealError
from host.seal.seal_check import SealReport, SealState, check_seal, public_key_in
from host.store import Store

_EXIT = {
    SealState.WHOLE: 0,
    SealState.ALTERED: 1,
    SealState.OTHER_KEY: 1,
    SealState.NO_SEAL: 1,
    SealState.UNREADABLE: 2,
    SealState.KEY_UNKNOWN: 3,
}


@click.command("verify", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--key",
    "key_file",
    type=click.Path(path_type=Path),
    metavar="PUBLIC",
    help="The shop's public key, as 'certificate key --public' prints it.",
)
@click.option(
    "--data",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="DIR",
    help="A desk's folder: its own key is taken where --key is not given, and how the paper stands is said.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def verify(file: Path, key_file: Path | None, folder: Path | None, as_json: bool) -> None:
    """Verify a certificate's FILE offline, from the file and the public key alone.

    A key inside the file is never trusted. Exit code 0: whole, and sealed by that key. 1: altered, sealed by
    another key, or without a seal. 2: not readable. 3: whole, but no key vouches for it: none was given, or
    it is from before there were seals and the desk of --data knows it byte for byte.
    """
    data = read_given(file, most_bytes=LARGEST_PAPER, what="certificate")
    key = None if key_file is None else _public_key(key_file)
    state = ""
    if folder is None:
        report = check_seal(data, key)
    else:
        with opened(existing_folder(folder)) as store:
            report, state = _as_the_desk_knows_it(store, data, key)
    if as_json:
        click.echo(
            json_text(
                {
                    "state": report.state.value,
                    "words": report.words,
                    "signer": report.signer or None,
                    "desk": state or None,
                }
            )
        )
    else:
        click.echo(" ".join(part for part in (report.words, state) if part))
        if report.signer and report.state is SealState.WHOLE:
            click.echo(f"Signing key: {report.signer}")
        elif report.signer:
            click.echo(f"Signing key, as the file itself calls it, which anybody can write: {report.signer}")
    click.get_current_context().exit(_EXIT[report.state])


def _public_key(file: Path) -> RSAPublicKey:
    try:
        return public_key_in(read_given(file, most_bytes=LARGEST_PAPER, what="public key"))
    except SealError as error:
        raise Refusal(f"{file}: {error}") from error


def _as_the_desk_knows_it(store: Store, data: bytes, key: RSAPublicKey | None) -> tuple[SealReport, str]:
    """Report by the key that was given, or else the desk's own, and how the paper stands at that desk."""
    checked = paper_at_desk(store, data, key)
    if checked.number is None or checked.standing is None:
        return checked.report, "This desk has issued no such file."
    state = f"Certificate {checked.number} of this desk: {checked.standing.words}."
    if checked.standing.reason:
        state += f" {checked.standing.reason}"
    return checked.report, state
