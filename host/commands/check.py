"""ohmbath check: points typed by hand against a reference curve."""

import sys
from datetime import datetime
from pathlib import Path

import click

from calibration.conformity import DecisionRule, Verdict
from calibration.resistance.leads import LARGEST_LEADS_OHM
from host.check_report import check_json, print_check, unused_words
from host.curve_choice import chosen_curve
from host.data_folder import existing_folder
from host.data_option import USUAL_DATA, opened
from host.errors import DeskError
from host.local_time import local_day
from host.one_line import OneLineCommand, above_zero, above_zero_to
from host.points_file import read_points
from host.registered_meter import NamedMeter, meter_in_force
from host.typed_certificate import ITEM_NOT_STATED, typed_certificate
from host.typed_check import (
    ASSUMED_U_RESISTANCE_PERCENT,
    ASSUMED_U_TEMPERATURE_K,
    MOST_U_RESISTANCE_PERCENT,
    MOST_U_TEMPERATURE_K,
    Assumption,
    TypedCheck,
    check_typed_points,
)

_NO_SEAL = (
    "The certificate bears no seal, so `ohmbath certificate verify` answers 1 for it: nothing would show an "
    "alteration. A desk seals what it issues: type the points on its page for a sealed one."
)
#: A sender that could not be read at all has no verdict: nothing is decided of it either.
EXIT_CODES = {Verdict.IN_TOLERANCE: 0, Verdict.OUT_OF_TOLERANCE: 1, Verdict.NOT_DECIDED: 3, None: 3}


@click.command("check", cls=OneLineCommand)
@click.argument("points_file", metavar="POINTS.csv", type=click.Path(path_type=Path))
@click.option(
    "--curve", "curve_name", required=True, metavar="NAME", help="Reference curve: a name, or a TOML file."
)
@click.option(
    "--rule",
    type=click.Choice([rule.value for rule in DecisionRule]),
    default=DecisionRule.GUARDED.value,
    show_default=True,
    help="guarded: the uncertainty counts. simple: the error alone.",
)
@click.option(
    "--limit-k",
    type=float,
    callback=above_zero,
    metavar="K",
    help="Permitted error in kelvin, in place of the curve's own tolerance.",
)
@click.option(
    "--u-temperature",
    type=float,
    callback=above_zero_to(MOST_U_TEMPERATURE_K),
    metavar="K",
    help="Standard uncertainty of the temperatures where the file gives none "
    f"(otherwise {ASSUMED_U_TEMPERATURE_K:g} K, assumed).",
)
@click.option(
    "--u-resistance",
    type=float,
    callback=above_zero_to(MOST_U_RESISTANCE_PERCENT),
    metavar="PERCENT",
    help="Standard uncertainty of the resistances where the file gives none "
    f"(otherwise {ASSUMED_U_RESISTANCE_PERCENT:g} %, assumed).",
)
@click.option(
    "--meter",
    "meter_serial",
    metavar="SERIAL",
    help="Resistance meter of the desk's register that the ohms were read with: its certificate corrects "
    "them and says how sure they are.",
)
@click.option(
    "--leads",
    "leads_ohm",
    type=click.FloatRange(min=0.0, max=LARGEST_LEADS_OHM),
    metavar="OHM",
    help="What that meter shows with its leads joined; it is taken off.",
)
@click.option(
    "--data",
    "folder",
    type=click.Path(file_okay=False, path_type=Path),
    default=USUAL_DATA,
    show_default=True,
    envvar="OHMBATH_DATA",
    help="Folder of the desk whose register knows the meter.",
)
@click.option(
    "--certificate",
    "certificate_path",
    type=click.Path(path_type=Path),
    metavar="OUT.pdf",
    help="Write a certificate. A file that is there already is never overwritten.",
)
@click.option("--item", default=ITEM_NOT_STATED, metavar="WORDS", help="Sender, as named on the certificate.")
@click.option(
    "--shop", default="", metavar="WORDS", help="Shop, as named on the certificate, which needs it."
)
@click.option("--customer", default="", metavar="WORDS", help="Customer, as named on the certificate.")
@click.option("--json", "as_json", is_flag=True, help="JSON on standard output, words on standard error.")
def command(
    points_file: Path,
    curve_name: str,
    rule: str,
    limit_k: float | None,
    u_temperature: float | None,
    u_resistance: float | None,
    meter_serial: str | None,
    leads_ohm: float | None,
    folder: Path,
    certificate_path: Path | None,
    item: str,
    shop: str,
    customer: str,
    as_json: bool,
) -> None:
    """Check a sender from points typed by hand.

    POINTS.csv has one point a row under a header: temperature_c or temperature_f, resistance_ohm or
    resistance_kohm, and if known u_temperature_k and u_resistance_ohm (standard uncertainties).

    Where the meter shows an open circuit write OL (or open), for a short circuit 0 (or short): such a point
    is kept, not judged, and counts in the reason that is given; the sender is then not called in tolerance.

    A certificate that is written here bears no seal and no number of a desk; one of points that are typed at
    a desk's page does.

    Hot water scalds: stand the jug where it cannot tip. Never open a warm cooling system.

    Exit code 0: in tolerance. 1: out of tolerance. 3: not decided, or some or all points could not be
    read. 2: bad input, said in one line.
    """
    check = check_typed_points(
        read_points(points_file),
        curve=chosen_curve(curve_name),
        rule=DecisionRule(rule),
        limit_k=limit_k,
        assumption=_assumption(u_temperature, u_resistance),
        meter=_meter(meter_serial, leads_ohm, u_resistance, folder),
    )
    if certificate_path is not None and check.verdict is None:
        click.echo("No certificate is written: there is no result to certify.", err=True)
        certificate_path = None
    if certificate_path is not None:
        _write_certificate(check, certificate_path, item=item, shop=shop, customer=customer)
        click.echo(_NO_SEAL, err=True)
    if as_json:
        click.echo(check_json(check, certificate_path))
        unused = unused_words(check.file.unused_columns)
        said = f"No result. {check.reason}" if check.verdict is None else f"Verdict: {check.verdict.words}."
        for note in (*check.notes, *check.remarks, *unused, said):
            click.echo(note, err=True)
    else:
        print_check(check, certificate_path, sys.stdout)
    click.get_current_context().exit(EXIT_CODES[check.verdict])


def _meter(
    serial: str | None, leads_ohm: float | None, u_resistance: float | None, folder: Path
) -> NamedMeter | None:
    if serial is None:
        if leads_ohm is not None:
            raise DeskError("--leads goes with --meter: without its certificate nothing is taken off.")
        return None
    if u_resistance is not None:
        raise DeskError("The certificate of the meter says how sure it is: leave out --u-resistance.")
    with opened(existing_folder(folder.expanduser())) as store:
        settings = store.settings.read()
        today = local_day(store.now(), settings.zone)
        content = meter_in_force(store, serial, settings=settings, today=today)
    return NamedMeter(content=content, leads_ohm=leads_ohm)


def _assumption(u_temperature: float | None, u_resistance: float | None) -> Assumption:
    return Assumption(
        u_temperature_k=ASSUMED_U_TEMPERATURE_K if u_temperature is None else u_temperature,
        u_resistance_percent=ASSUMED_U_RESISTANCE_PERCENT if u_resistance is None else u_resistance,
        temperature_is_assumed=u_temperature is None,
        resistance_is_assumed=u_resistance is None,
    )


def _write_certificate(check: TypedCheck, path: Path, *, item: str, shop: str, customer: str) -> None:
    if not shop.strip():
        raise DeskError("A certificate says whose it is: add --shop and the name of your shop.")
    if path.exists():
        raise DeskError(f"{path} is there already, and no certificate is overwritten. Choose another name.")
    if not path.parent.is_dir():
        raise DeskError(f"{path}: there is no folder {path.parent}. Make it, or choose another.")
    # Setting the paper brings the plotting library, which a check without one need not wait for.
    from host.certificates.pdf import render_pdf

    issued = datetime.now().astimezone().date()
    paper = render_pdf(typed_certificate(check, issued=issued, item=item, shop=shop, customer=customer))
    try:
        with path.open("xb") as file:
            file.write(paper)
    except OSError as error:
        raise DeskError(f"{path} cannot be written ({error.strerror}). Choose another place.") from error
