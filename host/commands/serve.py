"""The command that runs the desk."""

import click

from host.broker import USUAL_PORT as USUAL_BROKER_PORT
from host.broker import EmbeddedBroker
from host.data_folder import DataFolder
from host.data_option import data_option
from host.desk import Desk
from host.one_line import OneLineCommand
from host.serving import USUAL_PORT, interrupt_on_sigterm, serve_pages


def _host_and_port(
    _context: click.Context, _option: click.Parameter, text: str | None
) -> tuple[str, int] | None:
    if text is None:
        return None
    host, colon, port = text.rpartition(":")
    if not colon or not host or not port.isdigit() or not 0 < int(port) < 65536:
        raise click.BadParameter(f"{text!r} is not HOST:PORT, such as 127.0.0.1:1883.")
    return host, int(port)


@click.command(name="serve", cls=OneLineCommand)
@data_option
@click.option("--port", type=int, default=USUAL_PORT, show_default=True, help="Port of the pages.")
@click.option("--broker", callback=_host_and_port, help="HOST:PORT of a broker. [default: one of our own]")
@click.option(
    "--broker-port", type=int, default=USUAL_BROKER_PORT, show_default=True, help="Port of our own broker."
)
@click.option("--hands", is_flag=True, help="Simulated hands do what step cards ask at simulated stations.")
def command(
    folder: DataFolder, port: int, broker: tuple[str, int] | None, broker_port: int, hands: bool
) -> None:
    """Run the desk: take readings, lead runs, issue certificates, serve the pages."""
    interrupt_on_sigterm()

    def say(words: str) -> None:
        click.echo(words, err=True)

    own_broker: EmbeddedBroker | None = None
    with folder.lock():
        try:
            if broker is None:
                own_broker = EmbeddedBroker(broker_port, folder=folder.broker, say=say)
                own_broker.start()
                broker = ("127.0.0.1", own_broker.port)
            desk = Desk(folder, broker_host=broker[0], broker_port=broker[1], with_hands=hands)
            say(f"Data folder {folder.path}, broker {broker[0]}:{broker[1]}")
            desk.start()
            try:
                serve_pages(desk, port=port, say=say)
            finally:
                desk.stop()
        except KeyboardInterrupt:
            say("Stopped. Open runs go on when the desk starts again.")
        finally:
            if own_broker is not None:
                own_broker.stop()
