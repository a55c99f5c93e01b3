"""Ready phrases for what a valeter meets often, in our own plain words.

Each says what was seen, heard, smelt or felt, and under what circumstance; none says what the
cause is, for a valeter does not diagnose. A workshop may reword or hide them and add its own.
"""

from dataclasses import dataclass
from types import MappingProxyType

from jobs.work.calc.findings import FindingKind, Weight

LONGEST_CODE = 40
MOST_OWN = 300

_INFORMATION = Weight.FOR_INFORMATION
_SALE = Weight.BEFORE_SALE
_STOP = Weight.DO_NOT_DRIVE
_LOOK = "Have it looked at before sale."
_STAY = "Leave it where it stands until it has been inspected."


@dataclass(frozen=True, slots=True)
class Phrase:
    """One ready phrase; what it gives, a finding made from it takes where nothing else is said."""

    code: str
    group: str
    kind: FindingKind
    weight: Weight
    noticed: str
    circumstance: str = ""
    advice: str = ""


def _of(
    group: str, kind: FindingKind, *rows: tuple[str, Weight, str, str, str]
) -> tuple[Phrase, ...]:
    return tuple(Phrase(code, group, kind, weight, *texts) for code, weight, *texts in rows)


_NOISES = _of(
    "noises and feel",
    FindingKind.MECHANICAL,
    (
        "click_full_lock",
        _SALE,
        "A regular clicking from a front wheel.",
        "On full lock, moving",
        _LOOK,
    ),
    ("knock_over_bumps", _SALE, "A knock from underneath.", "Over a kerb or a bump, slow", _LOOK),
    (
        "squeal_on_start",
        _SALE,
        "A squeal from the engine bay that fades.",
        "At a cold start",
        _LOOK,
    ),
    ("rattle_at_idle", _SALE, "A metallic rattle.", "Engine idling, car standing", _LOOK),
    (
        "hum_rises_with_speed",
        _SALE,
        "A hum that rises with the speed.",
        "Rolling in the yard",
        _LOOK,
    ),
    (
        "grinding_on_braking",
        _STOP,
        "A grinding noise from a wheel.",
        "On braking, moving in the yard",
        _STAY,
    ),
    (
        "soft_brake_pedal",
        _STOP,
        "The brake pedal sinks under a steady foot.",
        "Engine running, car standing",
        _STAY,
    ),
    (
        "handbrake_does_not_hold",
        _STOP,
        "The car rolls with the parking brake on.",
        "On the slope of the yard",
        "Chock the wheels. " + _STAY,
    ),
    (
        "steering_stiff",
        _STOP,
        "The steering is stiff or sticks.",
        "Engine running, turning in the yard",
        _STAY,
    ),
    ("clutch_bites_high", _SALE, "The clutch takes up near the top.", "Moving off", _LOOK),
    (
        "gear_hard_to_find",
        _SALE,
        "A gear is hard to find or jumps out.",
        "Moving in the yard",
        _LOOK,
    ),
)
_SMELLS = _of(
    "smells and smoke",
    FindingKind.MECHANICAL,
    (
        "smell_of_fuel",
        _STOP,
        "A strong smell of fuel.",
        "Car standing, engine off",
        "Keep every source of ignition away. " + _STAY,
    ),
    ("smell_of_exhaust_inside", _STOP, "Exhaust is smelt inside the car.", "Engine idling", _STAY),
    ("smell_of_burning", _STOP, "A smell of burning.", "After moving in the yard", _STAY),
    (
        "sweet_smell_heater",
        _SALE,
        "A sweet smell and a film on the inside of the windscreen.",
        "Heater on",
        _LOOK,
    ),
    ("blue_smoke", _SALE, "Blue smoke from the exhaust.", "At a start or when revved", _LOOK),
    ("white_smoke_stays", _SALE, "White smoke that does not clear.", "Engine warm, idling", _LOOK),
)
_FLUIDS = _of(
    "fluids",
    FindingKind.MECHANICAL,
    ("oil_drips", _SALE, "Oil drips on the floor beneath the car.", "Parked overnight", _LOOK),
    (
        "coolant_low",
        _SALE,
        "The coolant stands below the lower mark.",
        "Engine cold",
        "Do not open it hot. " + _LOOK,
    ),
    (
        "brake_fluid_low",
        _STOP,
        "The brake fluid stands below the lower mark.",
        "Car level, engine off",
        _STAY,
    ),
    ("oil_low", _SALE, "The oil on the dipstick stands below the mark.", "Car level, cold", _LOOK),
    (
        "paste_under_filler_cap",
        _SALE,
        "Pale paste under the oil filler cap.",
        "Engine cold",
        _LOOK,
    ),
    (
        "oily_inside_wheel",
        _STOP,
        "The inside of a wheel or tyre is wet with an oily fluid.",
        "Before washing",
        _STAY,
    ),
)
_WHEELS = _of(
    "wheels and tyres",
    FindingKind.WHEELS_AND_TYRES,
    (
        "cords_showing",
        _STOP,
        "Cords show on a tyre.",
        "Wheels cleaned",
        "Have the tyre replaced before the car moves.",
    ),
    (
        "bulge_in_sidewall",
        _STOP,
        "A bulge in the side wall of a tyre.",
        "Wheels cleaned",
        "Have the tyre replaced before the car moves.",
    ),
    ("tread_low", _SALE, "Little tread is left on a tyre.", "Wheels cleaned", "Measure the tread."),
    ("worn_on_one_edge", _SALE, "A tyre is worn on one edge only.", "Wheels cleaned", _LOOK),
    (
        "tyre_loses_air",
        _SALE,
        "A tyre was soft again after it had been filled.",
        "The day after",
        _LOOK,
    ),
    ("object_in_tread", _SALE, "A nail or screw stands in the tread.", "Wheels cleaned", _LOOK),
    (
        "rim_kerbed",
        _INFORMATION,
        "The rim is scraped along its edge.",
        "Wheels cleaned",
        "Can be refinished if wanted.",
    ),
    (
        "wheel_bolt_missing",
        _STOP,
        "A wheel nut or bolt is missing or loose.",
        "Wheels cleaned",
        _STAY,
    ),
)
_GLASS = _of(
    "glass and lights",
    FindingKind.GLASS_AND_LIGHTS,
    ("chip_in_windscreen", _SALE, "A chip in the windscreen.", "Glass cleaned", _LOOK),
    ("crack_in_windscreen", _SALE, "A crack in the windscreen.", "Glass cleaned", _LOOK),
    ("lamp_does_not_light", _SALE, "A lamp does not light.", "Walk-round, lights on", _LOOK),
    ("water_in_lamp", _SALE, "Water stands inside a lamp.", "After the wash", _LOOK),
    (
        "lens_dull",
        _INFORMATION,
        "The headlamp lenses are dull and yellow.",
        "Body cleaned",
        "Can be polished if wanted.",
    ),
    ("wipers_smear", _SALE, "The wipers smear or judder.", "Glass wet", "New blades are needed."),
)
_BODY = _of(
    "body and paint",
    FindingKind.BODY_AND_PAINT,
    ("dent", _INFORMATION, "A dent in the panel.", "Panel clean, in slanting light", ""),
    (
        "scratch_to_metal",
        _SALE,
        "A scratch through to bare metal.",
        "Panel clean",
        "Touch it in before it rusts.",
    ),
    ("scratch_in_surface", _INFORMATION, "A scratch the nail does not catch.", "Panel clean", ""),
    ("stone_chips", _INFORMATION, "Many stone chips.", "Panel clean", "Can be touched in."),
    ("rust_showing", _SALE, "Rust shows through the paint.", "Panel clean", _LOOK),
    (
        "top_coat_lifting",
        _INFORMATION,
        "The top coat is lifting or flaking.",
        "Panel clean",
        "Polishing cannot put this right; the panel wants painting.",
    ),
    (
        "etched_by_droppings",
        _INFORMATION,
        "Marks etched into the paint that stay after washing.",
        "Panel clean",
        "May lessen with machining; may not go.",
    ),
    ("trim_loose", _SALE, "A piece of outer trim is loose.", "Body washed", "Have it fastened."),
)
_INSIDE = _of(
    "inside",
    FindingKind.INTERIOR,
    (
        "carpet_wet",
        _SALE,
        "The carpet was wet before any cleaning.",
        "On arrival",
        "Find where the water comes in before the seats are dried.",
    ),
    (
        "stain_stays",
        _INFORMATION,
        "A stain that stays after wet extraction.",
        "Fabric dry again",
        "Cannot be put right by cleaning.",
    ),
    ("burn_in_seat", _INFORMATION, "A burn hole in the fabric.", "Seats cleaned", ""),
    ("smell_of_smoke", _INFORMATION, "A smell of tobacco that stays.", "After cleaning, aired", ""),
    ("mould", _SALE, "Mould on seats or trim.", "On arrival", "Wear a mask while cleaning."),
    ("headlining_sags", _INFORMATION, "The headlining hangs loose.", "Inside cleaned", ""),
)
_BELTS = _of(
    "inside",
    FindingKind.MECHANICAL,  # so that it carries the caution
    (
        "belt_frayed",
        _SALE,
        "A seat belt is frayed or does not run back.",
        "Belts pulled out for cleaning",
        "Have the belt inspected before anybody rides on that seat.",
    ),
)
_ELECTRICAL = _of(
    "electrical",
    FindingKind.ELECTRICAL,
    (
        "warning_light_stays",
        _SALE,
        "A warning light stays on.",
        "Engine running",
        "Have it read out before sale.",
    ),
    (
        "airbag_light_stays",
        _STOP,
        "The airbag warning light stays on.",
        "Engine running",
        "Leave seats and trim connected. " + _STAY,
    ),
    (
        "oil_pressure_light_stays",
        _STOP,
        "The red oil pressure light stays on.",
        "Engine running",
        "Stop the engine and do not start it again. " + _STAY,
    ),
    ("brake_light_stays", _STOP, "The red brake light stays on.", "Handbrake off", _STAY),
    ("steering_light_stays", _STOP, "The red steering light stays on.", "Engine running", _STAY),
    (
        "high_voltage_light_stays",
        _STOP,
        "The red light of the high-voltage drive stays on.",
        "Vehicle switched on",
        "Switch it off, keep water and tools away, and leave it to somebody qualified. " + _STAY,
    ),
    ("needs_jump_start", _SALE, "The engine would not start on its own battery.", "Cold", _LOOK),
    ("window_does_not_move", _SALE, "A window does not move or does not close.", "Tried", _LOOK),
    (
        "key_does_not_answer",
        _SALE,
        "A key does not lock or unlock.",
        "At the car",
        "Try a new cell.",
    ),
    (
        "orange_cable_damaged",
        _STOP,
        "The cover of an orange high-voltage cable is damaged.",
        "Seen, not touched",
        "Keep everybody away from it. " + _STAY,
    ),
    (
        "aircon_not_cold",
        _SALE,
        "The air from the vents does not get cold.",
        "Engine running",
        _LOOK,
    ),
)
_MISSING = _of(
    "missing and extra things",
    FindingKind.MISSING_OR_EXTRA,
    ("no_locking_key", _SALE, "The key of the locking wheel bolts is not there.", "Searched", ""),
    ("no_spare_wheel", _INFORMATION, "There is no spare wheel and no repair kit.", "Searched", ""),
    ("no_second_key", _INFORMATION, "Only one key came with the car.", "On arrival", ""),
    ("no_load_cover", _INFORMATION, "The load cover is not there.", "Searched", ""),
    ("no_charging_cable", _SALE, "The charging cable is not there.", "Searched", ""),
    (
        "parts_in_boot",
        _INFORMATION,
        "Loose parts of a car lie in the boot.",
        "On arrival",
        "Say whether they belong to this car.",
    ),
)
_EARLIER = _of(
    "earlier repairs",
    FindingKind.PROVENANCE,
    ("overspray", _INFORMATION, "Overspray on rubber, glass or trim.", "Panel clean", ""),
    (
        "colour_differs",
        _INFORMATION,
        "A panel differs in colour from its neighbours.",
        "Daylight",
        "",
    ),
    ("gaps_uneven", _INFORMATION, "The gaps around a panel are uneven.", "Body cleaned", ""),
    ("bolts_turned", _INFORMATION, "Painted bolts have been turned.", "Shuts cleaned", ""),
    ("glass_dates_differ", _INFORMATION, "One window bears another date.", "Glass cleaned", ""),
    ("filler_seen", _SALE, "Filler shows at a chip or an edge.", "Panel clean", _LOOK),
)
_BELONGINGS = _of(
    "belongings and data",
    FindingKind.BELONGINGS,
    ("things_left", _INFORMATION, "Things of a former keeper.", "Clearing out", ""),
    ("papers_left", _INFORMATION, "Papers of a former keeper.", "Clearing out", ""),
    ("phone_paired", _INFORMATION, "A phone is still paired.", "Ignition on", ""),
    ("destinations_saved", _INFORMATION, "Destinations are still saved.", "Ignition on", ""),
)
_ALL = (
    *_NOISES,
    *_SMELLS,
    *_FLUIDS,
    *_WHEELS,
    *_GLASS,
    *_BODY,
    *_INSIDE,
    *_BELTS,
    *_ELECTRICAL,
    *_MISSING,
    *_EARLIER,
    *_BELONGINGS,
)
STANDARD = MappingProxyType({phrase.code: phrase for phrase in _ALL})
