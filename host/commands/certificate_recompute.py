"""``ohmbath certificate recompute`` and ``export``: work a certificate out again, here or elsewhere."""

from pathlib import Path

import click

from host.data_folder import DataFolder
from host.data_option import data_option, opened
from host.one_line import OneLineCommand, Refusal, json_text
from host.procedures.logged import events_of
from host.procedures.record.issued_record import not_as_it_came, record_in_store
from host.procedures.record.recompute import Recomputed, recompute, recompute_comparison
from host.procedures.record.recompute_witness import recompute_witness_check
from host.procedures.record.record_folder import read_record, write_record
from host.procedures.run_kind import RunKind
from host.store import Store
from host.store.rests_on import citations_in

_SAME, _DIFFERENT, _OTHER_METHOD = 0, 1, 3


@click.command("recompute", cls=OneLineCommand)
@click.argument("number", required=False)
@data_option
@click.option(
    "--from",
    "source",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    metavar="FOLDER",
    help="A folder that 'certificate export' wrote, on this or another machine; no desk is needed.",
)
@click.option(
    "--run",
    type=int,
    metavar="N",
    help="A comparison on the vehicle, or a witness check (it has no certificate), by the number of its run.",
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON alone.")
def again(
    number: str | None, folder: DataFolder, source: Path | None, run: int | None, as_json: bool
) -> None:
    """Work certificate NUMBER out again from its raw readings and compare with what was issued.

    Register, curve and settings are those of the run. Reported digits must be the same, and the full numbers
    to 1e-9.

    Exit code 0: the same. 1: the first difference is named. 3: the method has a newer version now; what was
    issued stays, and old and new are shown. 2: it cannot be worked out again.
    """
    if sum(one is not None for one in (number, source, run)) != 1:
        raise Refusal("Name one of these: a certificate's NUMBER, --from FOLDER, or --run N.")
    if source is not None:
        result = recompute(read_record(source))
    else:
        with opened(folder) as store:
            result = recompute(record_in_store(store, str(number))) if run is None else _run_again(store, run)
    if as_json:
        click.echo(json_text(_data(result)))
    else:
        _say(result)
    click.get_current_context().exit(_exit_code(result))


@click.command("export", cls=OneLineCommand)
@click.argument("number")
@click.argument("folder_to_write", metavar="FOLDER", type=click.Path(path_type=Path))
@data_option
def export(number: str, folder_to_write: Path, folder: DataFolder) -> None:
    """Write all that stands behind certificate NUMBER into a new FOLDER: paper, readings, register."""
    with opened(folder) as store:
        names = write_record(store, record_in_store(store, number), folder_to_write)
    click.echo(f"{folder_to_write} holds {', '.join(names)}.")
    click.echo(f"Anywhere: ohmbath certificate recompute --from {folder_to_write}")


def _run_again(store: Store, run: int) -> Recomputed:
    kind, events = store.runs.kind_of(run), events_of(store, run)
    if kind == RunKind.IN_PLACE:
        return recompute_comparison(run, events)
    if kind == RunKind.WITNESS_CHECK:
        kept = store.packs.kept(citations_in([event.payload for event in events]))
        changed = not_as_it_came(run, kept)
        if changed is not None:
            return Recomputed(what=f"witness check {run:04d}", difference=changed)
        entries = {entry.sha256: entry.content for entry in store.register.all()}
        return recompute_witness_check(run, events, store.readings_of, entries)
    raise Refusal(
        f"Run {run:04d} is no comparison on the vehicle and no witness check: name its certificate."
    )


def _exit_code(result: Recomputed) -> int:
    if result.is_of_another_method:
        return _OTHER_METHOD
    return _SAME if result.difference is None else _DIFFERENT


def _data(result: Recomputed) -> dict[str, object]:
    return {
        "what": result.what,
        "same": result.difference is None,
        "first_difference": result.difference,
        "method_then": result.method_then,
        "method_now": result.method_now,
        "newer_method": result.is_of_another_method,
        "numbers": [{"name": name, "then": then, "now": now} for name, then, now in result.rows],
        "remarks": list(result.remarks),
    }


def _say(result: Recomputed) -> None:
    if result.is_of_another_method:
        click.echo(f"{result.what}: issued by {result.method_then};")
        click.echo(f"this program judges by {result.method_now}. What was issued stays as it is.")
        for name, then, now in result.rows:
            click.echo(f"  {name:<44} {then:>14}  now {now:>14}{'' if then == now else '   *'}")
    elif result.difference is None:
        click.echo(f"{result.what}: the same: {len(result.rows)} numbers, as printed and to 1e-9.")
    else:
        click.echo(f"{result.what}: not the same. First difference: {result.difference}")
    for remark in result.remarks:
        click.echo(remark)
