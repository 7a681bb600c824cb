"""``ohmbath certificate verify``: is this file whole, and was it sealed by that key?"""

from pathlib import Path

import click

from host.data_folder import existing_folder
from host.data_option import opened
from host.one_line import OneLineCommand, Refusal, json_text
from host.seal.seal_check import SealReport, SealState, check_seal, public_key_in
from host.store.chain_link import sha256_of

_EXIT = {SealState.WHOLE: 0, SealState.ALTERED: 1, SealState.UNREADABLE: 2, SealState.KEY_UNKNOWN: 3}


@click.command("verify", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--key",
    "key_file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="PUBLIC",
    help="The shop's public key, as 'certificate key --public' prints it.",
)
@click.option(
    "--data",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="DIR",
    help="A desk's folder: says whether it is in force there, and knows papers from before there were seals.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def verify(file: Path, key_file: Path | None, folder: Path | None, as_json: bool) -> None:
    """Verify a certificate's FILE offline, from the file and the public key alone.

    A key inside the file is never trusted. Exit code 0: whole, and sealed by that key. 1: altered, sealed by
    another key, or without a seal. 2: not readable. 3: whole, but no key was given.
    """
    try:
        data = file.read_bytes()
        key = None if key_file is None else public_key_in(key_file.read_bytes())
    except OSError as error:
        raise Refusal(f"{error.filename} cannot be read ({error.strerror}).") from error
    report = check_seal(data, key)
    state = ""
    if folder is not None:
        report, state = _as_the_desk_knows_it(folder, data, report)
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
        if report.signer:
            click.echo(f"Signing key: {report.signer}")
    click.get_current_context().exit(_EXIT[report.state])


def _as_the_desk_knows_it(folder: Path, data: bytes, report: SealReport) -> tuple[SealReport, str]:
    """How the paper stands at a desk; one that it issued before there were seals is known by its digest."""
    digest = sha256_of(data)
    with opened(existing_folder(folder)) as store:
        found = next((one for one in store.certificates.all() if one.pdf_sha256 == digest), None)
        if found is None:
            return report, "This desk has issued no such file."
        standing = store.certificates.standing(found.number)
    state = f"Certificate {found.number} of this desk: {standing.words}."
    if standing.reason:
        state += f" {standing.reason}"
    if report.state is SealState.ALTERED and not report.signer and b"/ByteRange" not in data:
        words = "The file bears no seal, but is byte for byte what this desk issued."
        return SealReport(state=SealState.WHOLE, words=words), state
    return report, state
