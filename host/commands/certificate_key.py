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
    context.obj = folder
    if context.invoked_subcommand is not None:
        return
    if not public:
        raise Refusal("Say --public, or one of: backup, new, restore, rotate.")
    ring = KeyRing(folder.keys)
    if not ring.exists:
        raise Refusal(_no_keys_yet(folder))
    try:
        root = ring.root()
    except SealError as error:
        raise Refusal(str(error)) from error
    click.echo(root.public_bytes(serialization.Encoding.PEM).decode("ascii"), nl=False)


def _no_keys_yet(folder: DataFolder) -> str:
    """Why there are none, and where they come from; a folder without a desk stays without one."""
    if folder.has_store:
        with opened(folder) as store:
            if store.certificates.any_sealed():
                return (
                    f"{folder.keys} has no keys, but this desk has sealed certificates: bring its keys "
                    "first, ohmbath certificate key restore FILE."
                )
    return f"{folder.keys} has no keys yet: the first certificate makes them, or ohmbath certificate key new."


def _data_here(command):  # type: ignore[no-untyped-def]
    """``--data`` after the subcommand too, where most people write it."""
    return click.option(
        "--data",
        "here",
        type=click.Path(file_okay=False, path_type=Path),
        callback=lambda _context, _option, path: None if path is None else DataFolder(path.expanduser()),
        help="Folder in which the desk keeps everything.",
    )(command)


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
@_data_here
@click.pass_obj
def backup(folder: DataFolder, file: Path, passphrase_file: Path | None, here: DataFolder | None) -> None:
    """Write a copy of the keys into a new FILE, under a passphrase. No other backup has them."""
    ring = KeyRing((here or folder).keys)
    data = copy_of_keys(ring, _passphrase(passphrase_file, confirm=True))
    write_owner_only(file, data)
    click.echo(f"{file}: the keys, under your passphrase. Keep both, and apart.")


@key.command("restore", cls=OneLineCommand)
@click.argument("file", type=click.Path(path_type=Path))
@_passphrase_option
@_data_here
@click.pass_obj
def restore(folder: DataFolder, file: Path, passphrase_file: Path | None, here: DataFolder | None) -> None:
    """Put the keys of a copy into a data folder that has none."""
    ring = KeyRing((here or folder).keys)
    copy = read_given(file, most_bytes=_LARGEST_COPY, what="copy of keys")
    take_copy(ring, copy, _passphrase(passphrase_file, confirm=False))
    click.echo(f"The keys are in {ring.folder}.")


@key.command("new", cls=OneLineCommand)
@click.option(
    "--old-keys-are-lost",
    "are_lost",
    is_flag=True,
    help="Make a new root though certificates were sealed: nobody can find their keys any more.",
)
@_data_here
@click.pass_obj
def new(folder: DataFolder, are_lost: bool, here: DataFolder | None) -> None:
    """Make the keys of a shop that has none yet; the first certificate makes them by itself.

    Where certificates were sealed before, a new root is made only where you say that theirs is lost: they
    then verify by their old public key alone, and every customer has to be given the new one.
    """
    at = here or folder
    with opened(at) as store:
        if store.seal.keys.exists:
            raise Refusal(
                f"{at.keys} has keys already. ohmbath certificate key rotate changes the signing key."
            )
        shop = store.settings.read().shop.name
        if are_lost:
            store.seal.keys.make(shop)
        else:
            store.seal.require_keys(shop)
    click.echo(f"The keys are in {at.keys}. Make a copy now: ohmbath certificate key backup FILE.")


@key.command("rotate", cls=OneLineCommand)
@_data_here
@click.pass_obj
def rotate_key(folder: DataFolder, here: DataFolder | None) -> None:
    """Seal with a new key from now on. Certificates of before stay good under the same public key."""
    statement = rotate(KeyRing((here or folder).keys))
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
