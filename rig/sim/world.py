"""The simulated world around the chips: bath, room, bodies, and the sender that hangs in it."""

import math
from dataclasses import dataclass

from rig.errors import HandsRefused
from rig.sim.artefact import true_ohm
from rig.sim.bath import Bath, BathParameters, BathState
from rig.sim.bodies import (
    BodyParameters,
    BodyState,
    SenderParameters,
    mixed_c,
    relax,
    seen_by_infrared_c,
    wander_gradient,
)
from rig.sim.chance import generator, normal_numbers
from rig.sim.plants import BathEffects, Effects, Place, Plant, bath_effects_of, effects_of, place_of
from rig.sim.thermistor_law import ThermistorLaw, load_laws

STEP_S = 0.25
AWAY_STEP_S = 1.0
# The second body of a two-body sender lags this many times as long as its element.
SLOW_BODY = 6.0
#: What can be wrong where a plain resistor is clipped in.
FAULTS_OF_CLIPS = ("series", "leakage", "open", "short", "intermittent")
# After half a day a jug has come to rest, whatever it was doing.
LONGEST_AWAY_S = 12 * 3600.0


@dataclass(slots=True, kw_only=True)
class WorldState:
    """All that a killed bench must find again.

    Attributes
    ----------
    seed : int
        All chance comes from it.
    wakings : int
        How often this world was taken up; gives each time its own noise.
    sender_count : int
        Which sender from the tray hangs in the bath; its habits come from seed and count.
    plant : Plant or None
        Fault planted in that sender.
    bench_plant : Plant or None
        Fault planted around the bath or in the bench's own parts.
    drawn_out_mm : float
        How far the sender has been drawn out of its working depth. [mm]
    has_changed_places : bool
        Whether sender and probe hang in each other's first place.
    artefact_ohm : float or None
        Nominal resistance of a plain resistor that lies beside the bench; None where there is none. [Ω]
    has_artefact : bool
        Whether it is clipped in where the sender goes; `plant` is then a fault of its clips.
    """

    seed: int
    bath_parameters: BathParameters
    body_parameters: BodyParameters
    probe_r25_factor: float
    probe_beta_factor: float
    bath: BathState
    bodies: BodyState
    sender: SenderParameters
    plant: Plant | None = None
    sender_count: int = 0
    wakings: int = 0
    bench_plant: Plant | None = None
    drawn_out_mm: float = 0.0
    has_changed_places: bool = False
    artefact_ohm: float | None = None
    has_artefact: bool = False


def new_world_state(*, seed: int, plant: Plant | None) -> WorldState:
    """A bench as it stands in the morning: everything at room temperature, heater off."""
    bath = BathParameters.draw(generator(seed, "bath"))
    _, probe_law = load_laws()
    chance = generator(seed, "probe")
    room_c = bath.room_mean_c
    in_sender = plant is None or place_of(plant) is Place.SENDER
    return WorldState(
        seed=seed,
        bath_parameters=bath,
        body_parameters=BodyParameters.draw(generator(seed, "bodies")),
        probe_r25_factor=1.0 + chance.uniform(-probe_law.r25_spread, probe_law.r25_spread),
        probe_beta_factor=1.0 + chance.uniform(-probe_law.beta_spread, probe_law.beta_spread),
        bath=BathState(bath_c=room_c, room_c=room_c, thermostat_c=room_c),
        bodies=BodyState(probe_c=room_c, sender_c=room_c, witness_c=room_c),
        sender=draw_sender(seed=seed, count=0),
        plant=plant if in_sender else None,
        bench_plant=None if in_sender else plant,
    )


def draw_sender(*, seed: int, count: int) -> SenderParameters:
    """Sender number ``count`` of the tray that belongs to this seed."""
    law, _ = load_laws()
    return SenderParameters.draw(
        generator(seed, "sender", count), r25_spread=law.r25_spread, beta_spread=law.beta_spread
    )


@dataclass(slots=True)
class Heat:
    """Electrical heat in a body since the last step, from the actual current and its actual duration. [J]"""

    sender_j: float = 0.0
    probe_j: float = 0.0


class World:
    """Integrates everything up to a given rig time.

    Parameters
    ----------
    state : WorldState
        New, or as it was put away.
    now_s : float
        Rig time at which the world is in this state. [s]
    """

    def __init__(self, *, state: WorldState, now_s: float) -> None:
        self.state = state
        self.heat = Heat()
        self._now_s = now_s
        self._wander = normal_numbers(generator(state.seed, "wander", state.wakings))
        self._bath = Bath(parameters=state.bath_parameters, state=state.bath, wander=self._wander)
        sender_law, probe_law = load_laws()
        self._sender_law = sender_law.law
        self.probe_law = ThermistorLaw(
            a=probe_law.law.a,
            b=probe_law.law.b,
            c=probe_law.law.c,
            r25_factor=state.probe_r25_factor,
            beta_factor=state.probe_beta_factor,
        )
        self._element_law = self._sender_law
        self._effects = Effects()
        self._bath_effects = BathEffects()
        self._contact = generator(state.seed, "contact", state.wakings)
        self._take_sender()
        self._take_bench_plant()

    # what the chips ask

    @property
    def sender_ohm(self) -> float:
        """Resistance between the sender's terminals at this instant. [Ω]"""
        if self._effects.intermittent and self._contact.random() < self._effects.intermittent:
            return math.inf
        if self.state.has_artefact and self.state.artefact_ohm is not None:
            return self._effects.terminal_ohm(true_ohm(self.state.artefact_ohm))
        bodies, share = self.state.bodies, self._effects.two_body
        element_c = bodies.sender_c
        if share and bodies.sender_slow_c is not None:
            element_c += share * (bodies.sender_slow_c - element_c)
        element_ohm = self._element_law.resistance_ohm(element_c)
        return self._effects.terminal_ohm(element_ohm)

    @property
    def probe_ohm(self) -> float:
        """Resistance of the probe. [Ω]"""
        return self.probe_law.resistance_ohm(self.state.bodies.probe_c)

    @property
    def witness_c(self) -> float:
        """Temperature that the witness believes. [°C]"""
        return self.state.bodies.witness_c + self.state.body_parameters.witness_offset_k

    @property
    def infrared_body_c(self) -> float:
        """Temperature of the infrared sensor's own body. [°C]"""
        return self.state.bath.room_c + self.state.body_parameters.body_above_room_k

    def infrared_target_c(self, *, cell: float, normal: float) -> float:
        """What the infrared sensor makes of its target. [°C]"""
        bath, bodies = self.state.bath, self.state.body_parameters
        target_c = bath.bath_c - bodies.target_loss * (bath.bath_c - bath.room_c)
        effects = self._bath_effects
        # a spot wider than the target takes the room in; steam shows what is half way to the room
        target_c = mixed_c(target_c, bath.room_c, effects.spot_too_wide)
        target_c = mixed_c(target_c, (bath.bath_c + bath.room_c) / 2, effects.steam)
        seen_c = seen_by_infrared_c(
            target_c=target_c, body_c=self.infrared_body_c, emissivity=bodies.target_emissivity, cell=cell
        )
        return seen_c + bodies.infrared_offset_k + bodies.infrared_noise_k * normal

    # what hands do

    def set_heater(self, temperature_c: float | None) -> None:
        """Set the thermostat, or switch it off. [°C]"""
        self._bath.set_heater(temperature_c)

    def fresh_water(self, temperature_c: float) -> None:
        """Pour the jug out and fill it anew; what hangs in it follows with its lag. [°C]"""
        self.state.bath.has_ice = False
        self.state.bath.bath_c = temperature_c

    def ice_slush(self) -> None:
        """Put a slush of ice and water in place of the bath; the heater is off."""
        self._bath.set_heater(None)
        self.state.bath.has_ice = True
        self.state.bath.bath_c = 0.0

    def fit_sender(self, plant: Plant | None) -> None:
        """Hang the next sender of the tray into the bath; it comes at room temperature.

        A fault that does not sit in a sender goes to its place, and the sender is a healthy one.
        """
        state = self.state
        if plant is not None and place_of(plant) is not Place.SENDER:
            self.plant_in_bench(plant)
            plant = None
        state.sender_count += 1
        state.sender = draw_sender(seed=state.seed, count=state.sender_count)
        state.plant = plant
        state.bodies.sender_c = state.bath.room_c
        state.bodies.sender_slow_c = None
        state.drawn_out_mm = 0.0
        state.has_changed_places = False
        state.has_artefact = False
        self._take_sender()

    def fit_artefact(self, plant: Plant | None) -> None:
        """Clip the resistor in where the sender goes; a fault of the clips goes with it.

        Raises
        ------
        HandsRefused
            If there is none, or the fault is none of clips.
        """
        if self.state.artefact_ohm is None:
            raise HandsRefused("No resistor lies beside this bench: start its rig with --artefact OHM.")
        if plant is not None and plant[0] not in FAULTS_OF_CLIPS:
            raise HandsRefused(f"{plant[0]} is no fault of clips: {', '.join(FAULTS_OF_CLIPS)} are.")
        self.state.has_artefact = True
        self.state.plant = plant
        self._take_sender()

    def draw_out(self, by_mm: float) -> None:
        """Draw the sender out of its working depth by so much; 0 lowers it again. [mm]"""
        self.state.drawn_out_mm = by_mm

    def change_places(self, changed: bool) -> None:
        """Hang sender and probe in each other's first place, or back in their own."""
        self.state.has_changed_places = changed

    def plant_in_bench(self, plant: Plant | None) -> None:
        """Plant a fault around the bath or in the bench's own parts; None repairs them."""
        self.state.bench_plant = plant
        self._take_bench_plant()

    # time

    def advance(self, now_s: float) -> None:
        """Integrate up to rig time ``now_s`` in steps of at most 0.25 s; never back. [s]"""
        span_s = now_s - self._now_s
        if span_s <= 0:
            return
        self._now_s = now_s
        self._steps(span_s, STEP_S)

    def pass_time_away(self, away_s: float) -> None:
        """Let the bath go on while nobody looked; the heater keeps what it was set to. [s]"""
        self._steps(min(away_s, LONGEST_AWAY_S), AWAY_STEP_S)

    def _steps(self, span_s: float, longest_s: float) -> None:
        if span_s <= 0:
            return
        count = math.ceil(span_s / longest_s - 1e-9)
        sender_w, probe_w = self.heat.sender_j / span_s, self.heat.probe_j / span_s
        for _ in range(count):
            self._step(span_s / count, sender_w, probe_w)
        self.heat.sender_j = self.heat.probe_j = 0.0

    def _step(self, dt_s: float, sender_w: float, probe_w: float) -> None:
        self._bath.step(dt_s)
        state = self.state
        parameters, bodies, sender = state.body_parameters, state.bodies, state.sender
        bath_c, room_c = state.bath.bath_c, state.bath.room_c
        bodies.gradient_k = wander_gradient(bodies.gradient_k, dt_s, next(self._wander))
        # Uneven water belongs to the place where the sender hangs first, whoever hangs there now.
        first_place_c = bath_c + parameters.gradient_steady_k + bodies.gradient_k
        first_place_c -= self._bath_effects.stratification * (bath_c - room_c)
        second_place_c = bath_c
        if state.has_changed_places:
            first_place_c, second_place_c = second_place_c, first_place_c
        at_probe_c = second_place_c + probe_w / parameters.probe_dissipation_w_per_k
        at_sender_c = (
            first_place_c
            - sender.stem_at(state.drawn_out_mm) * (bath_c - room_c)
            + sender_w / sender.dissipation_w_per_k
        )
        bodies.probe_c = relax(bodies.probe_c, at_probe_c, dt_s, parameters.probe_tau_s)
        bodies.sender_c = relax(bodies.sender_c, at_sender_c, dt_s, sender.tau_s)
        if self._effects.two_body:
            slow_c = bodies.sender_c if bodies.sender_slow_c is None else bodies.sender_slow_c
            bodies.sender_slow_c = relax(slow_c, at_sender_c, dt_s, SLOW_BODY * sender.tau_s)
        bodies.witness_c = relax(bodies.witness_c, bath_c, dt_s, parameters.witness_tau_s)

    def _take_bench_plant(self) -> None:
        self._bath_effects = bath_effects_of(self.state.bench_plant)

    def _take_sender(self) -> None:
        state = self.state
        self._effects = effects_of(state.plant)
        self._element_law = self._effects.shifted(
            ThermistorLaw(
                a=self._sender_law.a,
                b=self._sender_law.b,
                c=self._sender_law.c,
                r25_factor=state.sender.r25_factor,
                beta_factor=state.sender.beta_factor,
            )
        )
