"""The computer's end of the sender's wire: a pull-up to its supply, and the voltage that it measures."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.errors import CalibrationError
from calibration.resistance.excitation import Excitation
from calibration.thermistor.least_squares import Matrix, Vector, least_squares


class ComputerInputError(CalibrationError):
    """A voltage or rows that tell nothing of the computer's input."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComputerInput:
    """Supply, pull-up, and what else loads the wire to ground.

    Attributes
    ----------
    supply_v : float
        [V]
    pull_up_ohm : float
        [Ω]
    load_ohm : float
        The input's own resistance to ground; endless where nothing is known of it. [Ω]
    """

    supply_v: float
    pull_up_ohm: float
    load_ohm: float = math.inf

    def signal_v(self, resistance_ohm: float) -> float:
        """Voltage on the wire for a sender. [V]"""
        conductance = 1.0 / resistance_ohm + 1.0 / self.load_ohm
        return self.supply_v / (1.0 + self.pull_up_ohm * conductance)

    def resistance_ohm(self, signal_v: float) -> float:
        """Sender's resistance for a voltage on the wire. [Ω]

        Raises
        ------
        ComputerInputError
            If no sender gives that voltage: the wire is open, shorted to ground, or fed from elsewhere.
        """
        highest_v = self.signal_v(1e12)
        if not 0.0 < signal_v < highest_v:
            raise ComputerInputError(
                f"{signal_v:g} V is no sender's voltage: with this pull-up it lies between 0 and "
                f"{highest_v:.3g} V. Look for an open wire, a short, or a second feed."
            )
        conductance = (self.supply_v / signal_v - 1.0) / self.pull_up_ohm - 1.0 / self.load_ohm
        return 1.0 / conductance

    @property
    def excitation(self) -> Excitation:
        """What warms the sender in the vehicle, the load left out."""
        return Excitation(source_v=self.supply_v, series_ohm=self.pull_up_ohm, duty=1.0)


def input_from_rows(
    rows: Sequence[tuple[float, float]], *, supply_v: float = 5.0, with_load: bool = True
) -> tuple[ComputerInput, float]:
    """Find pull-up and load from resistances and the voltages printed or measured beside them.

    Parameters
    ----------
    rows : sequence of (float, float)
        Resistance and voltage. [Ω], [V]
    supply_v : float
        5 V unless the document says otherwise. [V]
    with_load : bool
        Whether the input may load the wire too.

    Returns
    -------
    ComputerInput
    float
        Largest difference between a row's voltage and Ohm's law. [V]

    Raises
    ------
    FitError
        If the rows are too few.
    """
    ohms = np.array([resistance_ohm for resistance_ohm, _ in rows])
    volts = np.array([voltage for _, voltage in rows])

    # In kilohms and millisiemens, so that both parameters are about one.
    def loaded(parameters: Vector) -> Vector:
        load_ms = parameters[1] if with_load else 0.0
        divider: Vector = 1.0 + parameters[0] * (1e3 / ohms + load_ms)
        return divider

    def residuals(parameters: Vector) -> Vector:
        left: Vector = supply_v / loaded(parameters) - volts
        return left

    def jacobian(parameters: Vector) -> Matrix:
        load_ms = parameters[1] if with_load else 0.0
        common = -supply_v / loaded(parameters) ** 2
        columns = [common * (1e3 / ohms + load_ms)]
        if with_load:
            columns.append(common * parameters[0] * np.ones_like(ohms))
        return np.stack(columns, axis=1)

    found = least_squares(residuals=residuals, jacobian=jacobian, start=[1.0, 0.01] if with_load else [1.0])
    load_ms = float(found.parameters[1]) if with_load else 0.0
    computer = ComputerInput(
        supply_v=supply_v,
        pull_up_ohm=1e3 * float(found.parameters[0]),
        load_ohm=1e3 / load_ms if load_ms > 0.0 else math.inf,
    )
    return computer, float(np.max(np.abs(found.residuals)))
