"""``ohmbath station``: the stations of this desk, and the rigs that are joined to them."""

import secrets
from pathlib import Path

import click

from calibration.contract.joining import JoinFile, encode_join_file
from host.broker import USUAL_PORT
from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, Refusal, json_text
from host.store import Store

_TLS_PORT = 8883


@click.group()
def command() -> None:
    """Add stations, join rigs to them, and list them."""


def _address(_context: click.Context, _option: click.Parameter, text: str) -> tuple[str, int | None]:
    host, colon, port = text.rpartition(":")
    if not colon:
        return text, None
    if not host or not port.isdecimal() or not 0 < int(port) < 65536:
        raise click.BadParameter(f"{text!r} is not HOST or HOST:PORT, such as desk.local:8883.")
    return host.strip("[]"), int(port)


def _join_options(made: click.Command) -> click.Command:
    for option in reversed(
        (
            click.Option(
                ["--join-file"],
                type=click.Path(dir_okay=False, path_type=Path),
                help="Write what its rig needs into this new file, for `ohmbath-rig join`.",
            ),
            click.Option(
                ["--address"],
                callback=_address,
                default="127.0.0.1",
                show_default=True,
                metavar="HOST[:PORT]",
                help="Where the rig finds the broker, for the joining file.",
            ),
            click.Option(
                ["--broker-ca"],
                type=click.Path(exists=True, dir_okay=False, path_type=Path),
                help="Certificate authority of the broker (PEM); with it the rig speaks TLS.",
            ),
            click.Option(
                ["--open-broker"], is_flag=True, help="The broker asks nobody for a password: write none."
            ),
        )
    ):
        made.params.insert(1, option)
    return made


@command.command(cls=OneLineCommand)
@click.argument("name")
@data_option
def add(
    name: str,
    folder: DataFolder,
    join_file: Path | None,
    address: tuple[str, int | None],
    broker_ca: Path | None,
    open_broker: bool,
) -> None:
    """Add station NAME and write one file for its rig: address, credentials, store and authority.

    Without --join-file it is NAME-join.toml in the folder of the desk. The first rig that speaks under that
    name is tied to the station.
    """
    with opened(folder) as store:
        path = join_file or folder.path / f"{name}-join.toml"
        _check_new(path)
        store.stations.add(name)
        click.echo(f"Station {name} is added.")
        _write(store, name, path, address, broker_ca, open_broker)
        click.echo(f"A rig on this machine can do without: ohmbath-rig run --station {name}")


@command.command(cls=OneLineCommand)
@click.argument("name")
@click.option(
    "--in-place-of", "other_store", metavar="STORE", help="Write over the word of this desk, gone for good."
)
@data_option
def join(
    name: str,
    other_store: str | None,
    folder: DataFolder,
    join_file: Path | None,
    address: tuple[str, int | None],
    broker_ca: Path | None,
    open_broker: bool,
) -> None:
    """Let station NAME go from its rig: the next one that speaks under its name is tied to it."""
    with opened(folder) as store:
        if join_file is not None:
            _check_new(join_file)
        if other_store is not None:
            store.stations.replace_store(name, other_store)
            click.echo(f"Station {name} is taken over from the desk with store {other_store}.")
        else:
            store.stations.join_anew(name)
            click.echo(f"Station {name} takes the next rig that speaks under its name.")
        if join_file is not None:
            _write(store, name, join_file, address, broker_ca, open_broker)


for _made in (add, join):
    _join_options(_made)


@command.command("list", cls=OneLineCommand)
@data_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def list_stations(folder: DataFolder, as_json: bool) -> None:
    """List the stations, with the rig that each is tied to."""
    with opened(folder) as store:
        stations = store.stations.all()
    if as_json:
        click.echo(json_text({"stations": [{"station": one.station, "rig": one.rig} for one in stations]}))
        return
    if not stations:
        click.echo("No station yet: add one with 'ohmbath station add NAME'.")
    for one in stations:
        words = "no rig has spoken yet" if one.rig is None else "rig " + one.rig
        click.echo(f"{one.station:<32}  {words}{'  copied card' if one.copied else ''}")


def _check_new(path: Path) -> None:
    if path.exists():
        raise Refusal(f"{path} is there already: name a new file.")


def _write(
    store: Store,
    name: str,
    path: Path,
    address: tuple[str, int | None],
    ca_file: Path | None,
    open_broker: bool,
) -> None:
    host, port = address
    join = JoinFile(
        station=name,
        store=store.identity.store,
        host=host,
        port=port or (USUAL_PORT if ca_file is None else _TLS_PORT),
        username=None if open_broker else name,
        password=None if open_broker else secrets.token_urlsafe(24),
        ca_pem=None if ca_file is None else ca_file.read_text("ascii"),
    )
    path.touch(mode=0o600, exist_ok=False)
    path.write_text(encode_join_file(join), "utf-8")
    click.echo(f"Carry {path} to the rig, and there run: ohmbath-rig join {path.name}")
    if join.ca_pem is None and host not in ("127.0.0.1", "localhost", "::1"):
        click.echo("Without --broker-ca everything, the password too, goes over the network in clear.")
    if join.password is not None:
        click.echo(
            "The broker must know it (hardware/systemd/broker.md): "
            f"mosquitto_passwd -b PASSWORDS {name} '{join.password}'"
        )
