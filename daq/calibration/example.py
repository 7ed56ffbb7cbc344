"""A standards file to copy: the check masses of the invented club."""

from typing import Final

EXAMPLE: Final = """\
# Check masses of the Tern Lane Model Flyers. SIMULATED: an invented scenario.
format = 1
name = "Tern Lane check masses"
simulated = true
# stacked: each goes on top of what is there. "one at a time": each by itself.
order = "stacked"
# Whether a mass on the pan pushes the cell as thrust does, or against it.
pushes = "with thrust"
temperature_c = 21.0

# Latitude and height give gravity to 0.01 %; without this table it is 0.2 %.
[gravity]
latitude_deg = 52.0
height_m = 40.0

# From the pivot to the masses, and to the thrust axis. Where masses press on the
# thrust axis itself write on_axis = true at the head, and leave this out.
[lever]
mass_arm_mm = 120.0
thrust_arm_mm = 120.0
u_mm = 0.3

# How well each is known: a class of OIML R 111, or tolerance_g, or u_g (a balance's
# standard uncertainty; balance = "kitchen scale" where several were weighed on it).
[[mass]]
name = "20 g"
mass_g = 20.0
oiml_class = "M1"

[[mass]]
name = "50 g"
mass_g = 50.0
oiml_class = "M1"

[[mass]]
name = "100 g"
mass_g = 100.0
oiml_class = "M1"

[[mass]]
name = "100 g with the dot"
mass_g = 100.0
oiml_class = "M1"

[[mass]]
name = "200 g"
mass_g = 200.0
oiml_class = "M1"

# Coins by their mint: a check, hardly a calibration. New and clean, by the batch.
# [[coins]]
# coin = "EUR 2 euro"
# count = 20
# batch = 5
"""
