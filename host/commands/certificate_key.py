"""``ohmbath certificate key``: the shop's keys, shown, kept and changed."""

from pathlib import Path

import click
from cryptography.hazmat.primitives import serialization

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.given_file import read_given
from host.one_line import OneLineCommand, Refusal
from host.seal.errors import SealError
from host.seal.key_care import copy_of_keys, rotate, take_copy, write_owner_only
from host.seal.key_ring import KeyRing

#: Many times what a shop's keys take after fifty changes; and a passphrase that nobody types. [byte]
_LARGEST_COPY, _LONGEST_PASSPHRASE = 2_000_000, 10_000


@click.group("key", invoke_without_command=True)
@click.option("--public", is_flag=True, help="Print the public key, for whoever verifies certificates.")
@data_option
@click.pass_context
def key(context: click.Context, public: bool, folder: DataFolder) -> None:
    """Show and keep the keys with which certificates are sealed."""
    context.obj = KeyRing(folder.keys)
    if context.invoked_subcommand is not None:
        return
    if not public:
        raise Refusal("Say --public, or one of: backup, restore, rotate.")
    with opened(folder) as store:
        context.obj.make(store.settings.read().shop.name)
    try:
        root = context.obj.root()
    except SealError as error:
        raise Refusal(str(error)) from error
    click.echo(root.public_bytes(serialization.Encoding.PEM).decode("ascii"), nl=False)


def _passphrase_option(command):  # type: ignore[no-untyped-def]
    return click.option(
        "--passphrase-file",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Its first line is the passphrase. Without it the terminal asks.",
    )(command)


@key.command("backup", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@_passphrase_option
@click.pass_obj
def backup(ring: KeyRing, file: Path, passphrase_file: Path | None) -> None:
    """Write a copy of the keys into a new FILE, under a passphrase. No other backup has them."""
    data = copy_of_keys(ring, _passphrase(passphrase_file, confirm=True))
    write_owner_only(file, data)
    click.echo(f"{file}: the keys, under your passphrase. Keep both, and apart.")


@key.command("restore", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@_passphrase_option
@click.pass_obj
def restore(ring: KeyRing, file: Path, passphrase_file: Path | None) -> None:
    """Put the keys of a copy into a data folder that has none."""
    copy = read_given(file, most_bytes=_LARGEST_COPY, what="copy of keys")
    take_copy(ring, copy, _passphrase(passphrase_file, confirm=False))
    click.echo(f"The keys are in {ring.folder}.")


@key.command("rotate", cls=OneLineCommand)
@click.pass_obj
def rotate_key(ring: KeyRing) -> None:
    """Seal with a new key from now on. Certificates of before stay good under the same public key."""
    statement = rotate(ring)
    click.echo(f"A new signing key is in use; the old one says so in {statement}.")
    click.echo("Make a new copy of the keys now: ohmbath certificate key backup FILE.")


def _passphrase(file: Path | None, *, confirm: bool) -> str:
    if file is None:
        asked: str = click.prompt("Passphrase", hide_input=True, confirmation_prompt=confirm, err=True)
        return asked
    text = read_given(file, most_bytes=_LONGEST_PASSPHRASE, what="passphrase")
    try:
        lines = text.decode("utf-8").splitlines()
    except UnicodeDecodeError as error:
        raise Refusal(f"{file} is no text in UTF-8, so no passphrase is in it.") from error
    return lines[0] if lines else ""
