"""Short cautions at the point of use: never a substitute for data sheets, local rules, training.

They hold for any country; where a body's guidance is named, its own words outrank these.
"""

CHEMICALS = "Read the product's safety data sheet; wear gloves and eye protection."
WASH_WATER = "Wash water goes to a permitted drain, never to surface water."
ENGINE = (
    "Engine off and cool. Cover exposed electronics and air intakes, and keep water away from "
    f"electrics. {CHEMICALS} {WASH_WATER}"
)
WHEELS = (
    f"{CHEMICALS} Acid wheel cleaners, hydrofluoric acid above all, are specialist work for "
    f"trained people with the right protection. {WASH_WATER}"
)
SEATS = (
    "Seats may hold airbags and pretensioners: disconnect nothing without the maker's procedure "
    "and a competent person. Lift heavy seats in pairs. Keep water away from electrics. "
    f"{CHEMICALS}"
)
MACHINE = "Keep the cable clear, wear eye and dust protection, take breaks from vibration."
SOLVENT = f"{CHEMICALS} Ventilate, and keep every source of ignition away."
AIR = "Never point compressed air at skin; protect the eyes first."

KEYING = (
    "Wear a dust mask and eye protection, and key wet where the product allows it: dust of old "
    "paint and primer may hold isocyanates or lead."
)
MASKING = (
    "Mask glass, rubber, lamps and whatever moves. Keep paint off drain holes, vents and the plate "
    "with the vehicle's identification number."
)
TWO_PACK = (
    "Two-pack (isocyanate) paint is specialist work with proper extraction and breathing "
    "apparatus: a filter mask does not protect. In the UK follow the guidance of the Health and "
    "Safety Executive."
)
PAINT = f"{SOLVENT} Wear breathing protection that the data sheet names for this paint. {TWO_PACK}"
SILLS = (
    f"Never paint over drain holes: a sill that cannot drain rusts from within. {PAINT} Never work "
    "under a car that stands on a jack alone."
)
STEEL_WHEELS = (
    "Mask the tyre and the valve. No paint on brake discs, drums or pads, nor where the wheel "
    "meets the hub and its bolts or nuts sit: paint there lets a wheel work loose. Refit wheels "
    f"by the maker's procedure and torque. {PAINT} Never work under a car that stands on a jack "
    "alone."
)
