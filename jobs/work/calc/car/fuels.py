"""What a vehicle runs on, and the words about high voltage that follow from it."""

from enum import StrEnum


class Fuel(StrEnum):
    """What drives it; a plug-in or a mild hybrid is a hybrid."""

    PETROL = "petrol"
    DIESEL = "diesel"
    HYBRID = "hybrid"
    ELECTRIC = "electric"
    GAS = "gas"


FUEL_WORDS = {
    Fuel.PETROL: "Petrol",
    Fuel.DIESEL: "Diesel",
    Fuel.HYBRID: "Hybrid",
    Fuel.ELECTRIC: "Electric",
    Fuel.GAS: "Gas",
}
FUEL_CHOICES = [(fuel.value, words) for fuel, words in FUEL_WORDS.items()]
WITH_HIGH_VOLTAGE = frozenset({Fuel.HYBRID, Fuel.ELECTRIC})
HIGH_VOLTAGE = (
    "High voltage: leave anything with orange cable alone. Keep water jets and tools away from "
    "it, and open no cover. Only a person qualified for high voltage makes it safe."
)
IF_HIGH_VOLTAGE = f"If it is a hybrid or an electric vehicle: {HIGH_VOLTAGE}"


def high_voltage_words(fuel: str) -> str:
    """Return the caution for a vehicle that runs on `fuel`; "" is not known, so it says "if"."""
    if not fuel:
        return IF_HIGH_VOLTAGE
    return HIGH_VOLTAGE if Fuel(fuel) in WITH_HIGH_VOLTAGE else ""
