"""The command that runs the desk."""

from pathlib import Path

import click

from host.broker import USUAL_PORT as USUAL_BROKER_PORT
from host.broker import EmbeddedBroker
from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.desk import Desk
from host.desk_log import logging_into
from host.one_line import OneLineCommand
from host.serving import USUAL_PORT, check_reach, interrupt_on_sigterm, serve_pages
from host.web.reach import Reach, is_loopback
from host.wire import Access


def _host_and_port(
    _context: click.Context, _option: click.Parameter, text: str | None
) -> tuple[str, int] | None:
    if text is None:
        return None
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise click.BadParameter(f"{text!r} is not HOST:PORT, such as 127.0.0.1:1883.")
    return host, int(port)


def _access(
    broker: tuple[str, int] | None, user: str | None, password_file: Path | None, ca_file: Path | None
) -> Access:
    if (user is None) != (password_file is None):
        raise click.UsageError("--broker-user and --broker-password-file stand together.")
    if broker is None and (user is not None or ca_file is not None):
        raise click.UsageError("A broker of our own has no passwords: name another one with --broker.")
    password = None if password_file is None else password_file.read_text("utf-8").split("\n")[0]
    return Access(username=user, password=password, ca_file=ca_file)


@click.command(name="serve", cls=OneLineCommand)
@data_option
@click.option("--port", type=int, default=USUAL_PORT, show_default=True, help="Port of the pages.")
@click.option(
    "--listen",
    default="127.0.0.1",
    show_default=True,
    metavar="ADDRESS",
    help="Address of the pages; another one than this machine's own takes accounts (ohmbath person add).",
)
@click.option(
    "--name", "names", multiple=True, help="Name by which people open the pages; may stand several times."
)
@click.option(
    "--behind-proxy",
    is_flag=True,
    help="A proxy on this machine speaks TLS and hands requests on to the pages.",
)
@click.option("--broker", callback=_host_and_port, help="HOST:PORT of a broker. [default: one of our own]")
@click.option(
    "--broker-port", type=int, default=USUAL_BROKER_PORT, show_default=True, help="Port of our own broker."
)
@click.option("--broker-user", help="Name that the broker knows this desk by.")
@click.option(
    "--broker-password-file",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="File whose first line is its password.",
)
@click.option(
    "--broker-ca",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Certificate authority of the broker (PEM); with it the desk speaks TLS.",
)
@click.option("--hands", is_flag=True, help="Simulated hands do what step cards ask at simulated stations.")
def command(
    folder: DataFolder,
    port: int,
    listen: str,
    names: tuple[str, ...],
    behind_proxy: bool,
    broker: tuple[str, int] | None,
    broker_port: int,
    broker_user: str | None,
    broker_password_file: Path | None,
    broker_ca: Path | None,
    hands: bool,
) -> None:
    """Run the desk: take readings, lead runs, issue certificates, serve the pages."""
    access = _access(broker, broker_user, broker_password_file, broker_ca)
    reach = Reach(
        listen=listen, names=frozenset(name.lower().rstrip(".") for name in names), behind_proxy=behind_proxy
    )
    if behind_proxy and not is_loopback(listen):
        raise click.UsageError(
            "--behind-proxy goes with --listen 127.0.0.1: nobody may come in past the proxy."
        )
    interrupt_on_sigterm()

    def say(words: str) -> None:
        click.echo(words, err=True)

    own_broker: EmbeddedBroker | None = None
    with folder.lock(), logging_into(folder.path) as log:
        with opened(folder) as store:
            check_reach(store, reach)
        try:
            if broker is None:
                own_broker = EmbeddedBroker(broker_port, folder=folder.broker, say=say)
                own_broker.start()
                broker = ("127.0.0.1", own_broker.port)
            desk = Desk(folder, broker_host=broker[0], broker_port=broker[1], with_hands=hands, access=access)
            say(f"Data folder {folder.path}, broker {broker[0]}:{broker[1]}, log {log.name} in that folder")
            desk.start()
            try:
                serve_pages(desk, port=port, say=say, reach=reach)
            finally:
                desk.stop()
        except KeyboardInterrupt:
            say("Stopped. Open runs go on when the desk starts again.")
        finally:
            if own_broker is not None:
                own_broker.stop()
