"""Certificates of the simulated instruments, as real ones would come with; the desk's register reads them.

Two TOML files in a folder ``papers``, and a third where a resistor goes round. Common to all:

``kind``
    ``"probe"``, ``"decade_box"`` or ``"artefact"``.
``serial``, ``certificate``, ``issuer``
    Texts. The issuer is invented and says so.
``issued``, ``due``
    TOML dates.
``simulated``
    ``true``: nothing that rests on such a paper holds outside the simulation.
``k``
    Coverage factor of the expanded uncertainties.

``probe.toml``: ``model = "steinhart_hart"`` with ``a, b, c`` of 1/T = a + b ln R + c (ln R)³ (T in kelvin, R
in ohms), ``expanded_u_k``, ``valid_from_c``, ``valid_to_c``. The truth is within ``expanded_u_k`` of it.

``decade_box.toml``: ``residual_ohm`` with all relays at rest, leads included; a table ``[[step]]`` for each
of the sixteen steps with ``nominal_ohm`` and ``certified_ohm``, the change of resistance when that step is
switched in; so a setting is the residual and the sum of its steps. ``expanded_u_relative`` and
``expanded_u_ohm`` add up for a setting: U = expanded_u_relative·R + expanded_u_ohm. The truth is within that.

``artefact.toml``: ``resistance_ohm`` with its ``expanded_u_ohm``; alike at every bench of that resistor.
"""

import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from rig.errors import SavedWorldError
from rig.sim.artefact import U_RELATIVE, certified_ohm
from rig.sim.board import RealDecadeBox
from rig.sim.chance import generator
from rig.sim.thermistor_law import ZERO_C_K, ThermistorLaw

ISSUER = "Simulated Standards (invented)"
PROBE_U_K = 0.05
BOX_U_RELATIVE = 1e-4
BOX_U_OHM = 0.03
CERTIFIED_AT_C = 23.0
VALID_FROM_C, VALID_TO_C = 5.0, 100.0
# The truth is drawn inside the stated uncertainty, with room for the box's warming on the bench.
_INSIDE = 0.5
_AGE_DAYS, _INTERVAL_DAYS = 40, 365


def write_papers(
    folder: Path,
    *,
    seed: int,
    probe: ThermistorLaw,
    box: RealDecadeBox,
    step_ohm: tuple[int, ...],
    today_utc_s: float,
    artefact_ohm: float | None = None,
) -> None:
    """Write the papers that are not there yet.

    Parameters
    ----------
    folder : Path
        Made if need be.
    seed : int
        Errors and serial numbers come from it.
    probe, box : ThermistorLaw, RealDecadeBox
        The truth.
    step_ohm : tuple of int
        Nominal steps of the box. [Ω]
    today_utc_s : float
        The papers are some weeks old on this day. [s]
    artefact_ohm : float, optional
        Nominal resistance of the resistor that goes round, where there is one. [Ω]

    Raises
    ------
    SavedWorldError
        If the folder holds the papers of another simulated bench.
    """
    issued = datetime.fromtimestamp(today_utc_s, UTC).date() - timedelta(days=_AGE_DAYS)
    dates = [f"issued = {issued}", f"due = {issued + timedelta(days=_INTERVAL_DAYS)}"]
    chance = generator(seed, "papers")
    probe_lines = _probe_lines(probe, chance)
    box_lines = _box_lines(box, step_ohm, chance)
    folder.mkdir(parents=True, exist_ok=True)
    _write(folder / "probe.toml", _head("probe", f"SIM-P-{seed:05d}", dates) + probe_lines)
    _write(folder / "decade_box.toml", _head("decade_box", f"SIM-D-{seed:05d}", dates) + box_lines)
    if artefact_ohm is not None:
        serial = f"SIM-R-{artefact_ohm:g}"
        _write(folder / "artefact.toml", _head("artefact", serial, dates) + _artefact_lines(artefact_ohm))


def _head(kind: str, serial: str, dates: list[str]) -> list[str]:
    return [
        "# Certificate of a simulated instrument. It proves nothing outside the simulation.",
        f'kind = "{kind}"',
        f'serial = "{serial}"',
        f'certificate = "SIM-{serial[4:]}-1"',
        f'issuer = "{ISSUER}"',
        *dates,
        "simulated = true",
        "k = 2.0",
    ]


def _probe_lines(probe: ThermistorLaw, chance: np.random.Generator) -> list[str]:
    cold_k, hot_k = chance.uniform(-_INSIDE * PROBE_U_K, _INSIDE * PROBE_U_K, 2)
    slope = (hot_k - cold_k) / (VALID_TO_C - VALID_FROM_C)
    temperatures_c = np.linspace(VALID_FROM_C, VALID_TO_C, 20)
    logs = np.array([math.log(probe.resistance_ohm(t)) for t in temperatures_c])
    kelvin = temperatures_c + ZERO_C_K + cold_k + slope * (temperatures_c - VALID_FROM_C)
    design = np.column_stack((np.ones_like(logs), logs, logs**3)) * kelvin[:, None]
    (a, b, c), *_ = np.linalg.lstsq(design, np.ones_like(kelvin), rcond=None)
    return [
        'model = "steinhart_hart"',
        f"a = {a:.9e}",
        f"b = {b:.9e}",
        f"c = {c:.9e}",
        f"expanded_u_k = {PROBE_U_K}",
        f"valid_from_c = {VALID_FROM_C}",
        f"valid_to_c = {VALID_TO_C}",
    ]


def _artefact_lines(nominal_ohm: float) -> list[str]:
    value_ohm = certified_ohm(nominal_ohm)
    return [
        f"resistance_ohm = {value_ohm:.4f}",
        f"expanded_u_ohm = {U_RELATIVE * value_ohm:.4f}",
    ]


def _box_lines(box: RealDecadeBox, step_ohm: tuple[int, ...], chance: np.random.Generator) -> list[str]:
    residual_ohm = box.resistance_ohm(0, CERTIFIED_AT_C)
    shift_ohm = _INSIDE * BOX_U_OHM * chance.uniform(-1.0, 1.0)
    lines = [
        f"residual_ohm = {residual_ohm + shift_ohm:.4f}",
        f"expanded_u_relative = {BOX_U_RELATIVE}",
        f"expanded_u_ohm = {BOX_U_OHM}",
    ]
    for number, nominal_ohm in enumerate(step_ohm):
        true_ohm = box.resistance_ohm(1 << number, CERTIFIED_AT_C) - residual_ohm
        certified_ohm = true_ohm * (1.0 + _INSIDE * BOX_U_RELATIVE * chance.uniform(-1.0, 1.0))
        lines += [
            "",
            "[[step]]",
            f"nominal_ohm = {nominal_ohm}",
            f"certified_ohm = {certified_ohm:.4f}",
        ]
    return lines


def _write(path: Path, lines: list[str]) -> None:
    serial = next(line for line in lines if line.startswith("serial"))
    try:
        found = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        # Whole or not at all: whoever waits for a paper reads it as soon as it is there.
        part = path.with_suffix(".part")
        part.write_text("\n".join(lines) + "\n", encoding="utf-8")
        part.replace(path)
        return
    if serial not in found.splitlines():
        raise SavedWorldError(
            f"{path} belongs to another simulated bench ({serial} was expected). Take a fresh data folder."
        )
