"""The shelf's articles: what is being tested, as a person wrote it down.

A file gives the trade's units, each in the name of its key; the properties give
SI. This module must never fill in a figure that was not measured or rated: what
is not in the file is None.
"""

from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, field_validator, model_validator

from daq import units
from daq.errors import InputFault
from daq.typed_toml import Table, check_typed, read_typed

FORMAT = 1
# Decimal prefixes and the hour; the trade's own units are converted in daq.units.
_MILLI = 1e-3
_HECTO = 100.0
_PERCENT = 1e-2
_HOUR_S = 3600.0


def _on_one_line(name: str) -> str:
    """A name is shown in terminals and tables, a stranger's too."""
    if not name.isprintable():
        raise ValueError("it must be plain text on one line")
    return name


Name = Annotated[str, Field(min_length=1, max_length=80), AfterValidator(_on_one_line)]
CurrentA = Annotated[float, Field(gt=0, le=500)]
MassG = Annotated[float, Field(gt=0, le=20_000)]
ShortS = Annotated[float, Field(gt=0, le=600)]
# Below body heat nothing could be tested; beyond this no enamel or solder lasts.
TemperatureC = Annotated[float, Field(ge=40, le=250)]
ResistanceMohm = Annotated[float, Field(ge=1, le=2000)]
Coefficient = Annotated[float, Field(gt=0, le=1)]


class Motor(Table):
    """A brushless motor, star or delta, as its maker or an ohmmeter says.

    Attributes:
        name: the size and winding in words.
        kv_rpm_v: speed constant.
        poles: magnets on the rotor; an even number.
        resistance_ohm: between two terminals.
        no_load_current_a: with no propeller.
        max_current_a: held for as long as one likes.
        short_current_a: for ``short_s`` only.
        short_s: how long that is.
        max_winding_c: the hottest its winding may get.
        mass_g: with its wires.
    """

    name: Name
    kv_rpm_v: Annotated[float, Field(ge=100, le=60_000)]
    poles: Annotated[int, Field(ge=2, le=48)]
    resistance_ohm: Annotated[float, Field(gt=0, le=20)] | None = None
    no_load_current_a: CurrentA | None = None
    max_current_a: CurrentA | None = None
    short_current_a: CurrentA | None = None
    short_s: ShortS | None = None
    max_winding_c: TemperatureC | None = None
    mass_g: MassG | None = None

    @field_validator("poles")
    @classmethod
    def _poles_pair_up(cls, poles: int) -> int:
        if poles % 2:
            raise ValueError("it must be even: north and south magnets pair up")
        return poles

    @model_validator(mode="after")
    def _short_time_is_whole(self) -> "Motor":
        if (self.short_current_a is None) != (self.short_s is None):
            raise ValueError("gives short_current_a and short_s only together")
        if (
            self.short_current_a is not None
            and self.max_current_a is not None
            and self.short_current_a < self.max_current_a
        ):
            raise ValueError("has a short_current_a below its max_current_a")
        return self

    @property
    def pole_pairs(self) -> int:
        """Electrical turns a mechanical turn."""
        return self.poles // 2

    @property
    def torque_constant_v_s(self) -> float:
        """Kv in SI, inverted: V s/rad, equal to N m/A."""
        return units.kv_to_volt_second(self.kv_rpm_v)

    @property
    def max_winding_k(self) -> float | None:
        """The hottest its winding may get, absolute."""
        return None if self.max_winding_c is None else units.c_to_k(self.max_winding_c)


class Propeller(Table):
    """A propeller, by its measured diameter: the printed size can be 8 % off.

    Attributes:
        name: in words.
        blades: how many.
        diameter_mm: measured, tip to tip.
        diameter_u_mm: standard uncertainty of that.
        printed_size: as moulded on it.
        max_rpm: its maker's limit.
        power_coefficient: C_P = P/(rho n^3 D^5), if known from an earlier run.
        thrust_coefficient: C_T = T/(rho n^2 D^4), likewise.
        mass_g: on a scale.
    """

    name: Name
    blades: Annotated[int, Field(ge=1, le=8)]
    diameter_mm: Annotated[
        float,
        Field(
            ge=15,
            le=1000,
            description="measure it from tip to tip, since the printed size can be 8 % "
            "off, which is a third in C_T",
        ),
    ]
    diameter_u_mm: Annotated[
        float,
        Field(
            gt=0,
            le=10,
            description="how well the diameter was measured, such as 0.15 with a ruler",
        ),
    ]
    printed_size: Name | None = None
    max_rpm: Annotated[float, Field(ge=1000, le=200_000)] | None = None
    power_coefficient: Coefficient | None = None
    thrust_coefficient: Coefficient | None = None
    mass_g: MassG | None = None

    @property
    def diameter_m(self) -> float:
        """Measured diameter."""
        return self.diameter_mm * _MILLI

    @property
    def diameter_u_m(self) -> float:
        """Standard uncertainty of the diameter."""
        return self.diameter_u_mm * _MILLI

    @property
    def max_speed_rad_s(self) -> float | None:
        """Its maker's limit."""
        return None if self.max_rpm is None else units.rpm_to_rad_s(self.max_rpm)


class Esc(Table):
    """A speed controller.

    Attributes:
        name: in words.
        continuous_a: held for as long as one likes.
        burst_a: for ``burst_s``, or for seconds where its maker does not say.
        burst_s: how long that is.
        max_temperature_c: the hottest it may get.
    """

    name: Name = "ESC"
    continuous_a: CurrentA | None = None
    burst_a: CurrentA | None = None
    burst_s: ShortS | None = None
    max_temperature_c: TemperatureC | None = None

    @model_validator(mode="after")
    def _burst_is_more(self) -> "Esc":
        if (
            self.continuous_a is not None
            and self.burst_a is not None
            and self.burst_a < self.continuous_a
        ):
            raise ValueError("has a burst_a below its continuous_a")
        return self

    @model_validator(mode="after")
    def _burst_time_has_a_burst(self) -> "Esc":
        if self.burst_s is not None and self.burst_a is None:
            raise ValueError("gives a burst_s without the burst_a that it belongs to")
        return self

    @property
    def max_temperature_k(self) -> float | None:
        """The hottest it may get, absolute."""
        if self.max_temperature_c is None:
            return None
        return units.c_to_k(self.max_temperature_c)


class Pack(Table):
    """A lithium polymer pack.

    Attributes:
        name: in words.
        cells: in series.
        capacity_mah: rated.
        c_rate: continuous discharge, as printed.
        resistance_mohm: of the whole pack with its leads.
        min_cell_v: lowest a cell may sag to under load. Common practice, no source.
        max_cell_v: a full cell; 4.35 for high-voltage cells.
        mass_g: with its plug.
    """

    name: Name = "pack"
    cells: Annotated[int, Field(ge=1, le=14)]
    capacity_mah: Annotated[float, Field(ge=20, le=50_000)]
    c_rate: Annotated[float, Field(gt=0, le=300)] | None = None
    resistance_mohm: ResistanceMohm | None = None
    min_cell_v: Annotated[float, Field(ge=2.5, le=3.9)] = 3.3
    max_cell_v: Annotated[float, Field(ge=4.0, le=4.5)] = 4.2
    mass_g: MassG | None = None

    @property
    def capacity_c(self) -> float:
        """Rated charge in coulomb."""
        return self.capacity_mah * _MILLI * _HOUR_S

    @property
    def max_current_a(self) -> float | None:
        """C rate times capacity."""
        if self.c_rate is None:
            return None
        return self.c_rate * self.capacity_mah * _MILLI

    @property
    def resistance_ohm(self) -> float | None:
        """Of the whole pack with its leads."""
        if self.resistance_mohm is None:
            return None
        return self.resistance_mohm * _MILLI

    @property
    def full_v(self) -> float:
        """The pack fresh off the charger, at rest."""
        return self.cells * self.max_cell_v

    @property
    def floor_v(self) -> float:
        """Lowest the pack may sag to under load."""
        return self.cells * self.min_cell_v


class Supply(Table):
    """A bench supply in place of a pack.

    It holds its voltage up to its current limit and then lets the voltage fall;
    most take no current back, so that a braking motor raises the voltage.

    Attributes:
        name: in words.
        voltage_v: as set, and read at its terminals.
        current_limit_a: as set, or what it can give where that is less.
        resistance_mohm: of its leads, and of itself where that is known.
    """

    name: Name = "bench supply"
    voltage_v: Annotated[float, Field(ge=1, le=60)]
    current_limit_a: CurrentA
    resistance_mohm: ResistanceMohm | None = None

    @property
    def resistance_ohm(self) -> float | None:
        """Of its leads, and of itself where that is known."""
        if self.resistance_mohm is None:
            return None
        return self.resistance_mohm * _MILLI


class Plug(Table):
    """The plug between source and ESC.

    Attributes:
        name: in words.
        rated_a: held for as long as one likes.
        short_a: for ``short_s`` only.
        short_s: how long that is.
        contact_mohm: what a contact has at most, by its data sheet.
        sense_lead_awg: gauge of the lead that lies between the two sense wires of a
            pole, beside the contact.
        sense_lead_mm: how long that is.
        max_temperature_c: the hottest it may get.
    """

    name: Name
    rated_a: CurrentA | None = None
    short_a: CurrentA | None = None
    short_s: ShortS | None = None
    contact_mohm: Annotated[float, Field(gt=0, le=100)] | None = None
    sense_lead_awg: Annotated[int, Field(ge=8, le=36)] | None = None
    sense_lead_mm: Annotated[float, Field(ge=0, le=300)] | None = None
    max_temperature_c: TemperatureC | None = None

    @model_validator(mode="after")
    def _short_time_is_whole(self) -> "Plug":
        if (self.short_a is None) != (self.short_s is None):
            raise ValueError("gives short_a and short_s only together")
        if (self.sense_lead_awg is None) != (self.sense_lead_mm is None):
            raise ValueError("gives sense_lead_awg and sense_lead_mm only together")
        if self.short_a is None:
            return self
        if self.rated_a is None:
            raise ValueError("has a short_a without the rated_a that it lies above")
        if self.short_a <= self.rated_a:
            raise ValueError("has a short_a that is not above its rated_a")
        return self

    @property
    def contact_ohm(self) -> float | None:
        """What a contact has at most, by its data sheet."""
        return None if self.contact_mohm is None else self.contact_mohm / 1e3

    @property
    def max_temperature_k(self) -> float | None:
        """The hottest it may get, absolute."""
        if self.max_temperature_c is None:
            return None
        return units.c_to_k(self.max_temperature_c)


class Capacitor(Table):
    """A capacitor across the supply at the ESC, beside what the ESC has itself.

    An article without one is the same with it taken off.

    Attributes:
        name: in words.
        capacitance_uf: as printed, in microfarad.
        rated_v: the highest voltage it may ever see.
        esr_mohm: its own resistance, by its data sheet.
        lead_mm: of each of its two leads.
        mass_g: with its leads.
    """

    name: Name
    capacitance_uf: Annotated[float, Field(ge=1, le=10_000)]
    rated_v: Annotated[float, Field(ge=4, le=100)]
    esr_mohm: Annotated[float, Field(gt=0, le=2000)] | None = None
    lead_mm: Annotated[float, Field(ge=0, le=200)] | None = None
    mass_g: MassG | None = None


class Mount(Table):
    """How the motor is mounted.

    Attributes:
        kind: tractor (the propeller pulls the stand) or pusher.
    """

    kind: Literal["tractor", "pusher"]


class Air(Table):
    """The air of the room.

    Attributes:
        temperature_c: measured.
        pressure_hpa: at the stand, not reduced to sea level.
        humidity_percent: relative.
    """

    temperature_c: Annotated[float, Field(ge=-30, le=60)]
    pressure_hpa: Annotated[float, Field(ge=500, le=1100)]
    humidity_percent: Annotated[float, Field(ge=0, le=100)] | None = None

    @property
    def temperature_k(self) -> float:
        """Absolute temperature."""
        return units.c_to_k(self.temperature_c)

    @property
    def pressure_pa(self) -> float:
        """Absolute pressure."""
        return self.pressure_hpa * _HECTO

    @property
    def humidity_frac(self) -> float | None:
        """Relative humidity, 0 to 1."""
        if self.humidity_percent is None:
            return None
        return self.humidity_percent * _PERCENT


class Aircraft(Table):
    """What the article is meant to fly on.

    Attributes:
        motors: how many share the pack.
        all_up_g: all-up weight, read on a scale.
        electronics_a: constant load of everything but the motors.
        full_current_a: what all of it takes at full throttle, as it was measured or
            told by an earlier run.
    """

    motors: Annotated[int, Field(ge=1, le=12)]
    all_up_g: MassG | None = None
    electronics_a: Annotated[float, Field(ge=0, le=20)] | None = None
    full_current_a: CurrentA | None = None

    @property
    def all_up_n(self) -> float | None:
        """All-up weight at standard gravity."""
        return None if self.all_up_g is None else units.gf_to_n(self.all_up_g)


class Article(Table):
    """One combination under test.

    Attributes:
        format: version of this layout.
        name: what a person calls it.
        simulated: true where it exists only as a simulation.
        note: anything worth remembering.
        travels: the round robin in which this very specimen goes from stand to stand;
            two motors of one make are not that.
        pack: what feeds it; None where a supply does.
        supply: what feeds it; None where a pack does.
        capacitor: across the supply at the ESC; None where there is none.
    """

    format: Literal[1]
    name: Name
    simulated: bool = False
    note: Annotated[str, Field(max_length=2000)] = ""
    travels: Name | None = None
    motor: Motor
    propeller: Propeller
    esc: Esc
    pack: Pack | None = None
    supply: Supply | None = None
    plug: Plug | None = None
    capacitor: Capacitor | None = None
    mount: Mount
    air: Air | None = None
    aircraft: Aircraft | None = None

    @model_validator(mode="after")
    def _has_one_source(self) -> "Article":
        if self.pack is None and self.supply is None:
            raise ValueError("a source is missing: it needs a [pack] or a [supply]")
        if self.pack is not None and self.supply is not None:
            raise ValueError("there is a [pack] and a [supply]; take one of them out")
        return self

    @model_validator(mode="after")
    def _capacitor_stands_it(self) -> "Article":
        capacitor = self.capacitor
        if capacitor is not None and capacitor.rated_v <= self.source_v:
            raise ValueError(
                f"has a capacitor for {capacitor.rated_v:g} V on a source of "
                f"{self.source_v:g} V: it would fail, and may burst; fit one for more, "
                "with room for the spikes of a chopped throttle"
            )
        return self

    @property
    def source(self) -> Pack | Supply:
        """What feeds it.

        Raises:
            InputFault: there is nothing; an article that was checked has it.
        """
        source = self.pack or self.supply
        if source is None:
            raise InputFault(f"the article {self.name} has no pack and no supply.")
        return source

    @property
    def source_v(self) -> float:
        """Voltage of the source at rest: the full pack, or the supply as set."""
        source = self.source
        return source.full_v if isinstance(source, Pack) else source.voltage_v

    def to_dict(self) -> dict[str, Any]:
        """Plain values as in the file, ready for JSON; what is unknown is left out."""
        return self.model_dump(mode="json", exclude_none=True)

    @classmethod
    def from_dict(cls, data: dict[str, Any], where: str) -> "Article":
        """Read what ``to_dict`` wrote.

        Args:
            data: keys and values.
            where: the record it came from, for the sentence.

        Raises:
            InputFault: naming key, fault and what is allowed.
        """
        return check_typed(data, cls, where)


def load_article(path: Path | Traversable) -> Article:
    """Read one article from its TOML file.

    Raises:
        InputFault: naming file, key, fault and what is allowed.
    """
    return read_typed(path, Article)
