"""What does a person fill in at the box? The commented scenario that a new job starts from."""

from dbox.fieldwork.evidence import OUTLET_KINDS, SYSTEM_KINDS, Evidence, OutletEvidence
from dbox.files.evidence_keys import starter_lines

_HEAD = """\
# One distribution box. Put your values in place of the ones below, save, and run
#     dbox check THIS-FILE
# A line that begins with # is a comment. What you did not measure, leave out: never write 0 for it.
# Write sizes with their unit, in quotes: "1-3/16 in", "3 mm", "60 ft", "5 gpm", "5 gal in 40 s".

# What the job is called.
title = "New job"
# The unit of a bare length: in, mm or cm.
units = "in"

[box]
# rectangle or round, as seen from above.
shape = "rectangle"
# Inside size: along the way the water comes in, then across it. One value for a round box.
inside = ["16 in", "20 in"]
# How the inlet ends: straight, turned down, tee or baffle.
inlet = "turned down"
# Bottom of the inlet pipe over the bottoms of the outlet pipes.
inlet_drop = "2 in"
# Bottoms of the outlet pipes over the floor of the box.
sump = "4 in"

# The hole that the effluent leaves through, the same for every outlet. Any of these keys may stand
# under one [[outlet]] too, where that outlet differs.
[insert]
# circle, notch (angle = "90 deg"), slot (width, and height if closed on top), or pipe: a bare end.
kind = "circle"
diameter = "2 in"
# Centre of the hole from the centre of the pipe. Leave it out if the insert cannot be turned.
offset = "1/2 in"
# Fall of the header beyond a bare pipe end: kind = "pipe" is only right where it is steep.
# header_fall = "1/8 in/ft"

[readings]
# The readings below only show where yours go, and nothing is computed from them. Write what you
# measured in their place, then take this line out.
placeholder = true
# Which point of the hole you read: lip (its lowest point), centre or top.
point = "lip"
# How far two honest readings of the same hole differ: about 1/32 in at best, 1/16 in with most
# rulers (common practice, no source).
spread = "1/16 in"
# Height over the still water of the lowest place where water could get out besides the outlets.
# rim = "6 in"

# Fill the box with clean water until it just spills, stop, and let it go still. Then read, at each
# outlet, how far that point of the hole is over the water: + above the water, - below it.
# One [[outlet]] each, clockwise from the inlet as seen from above. Add or delete as many as you
# need, and keep double brackets.
"""

_FIRST = """
[[outlet]]
# What the line is called on site.
label = "1"
# Where it is, from the left corner of the inlet wall: along the way the water comes in, across it.
at = ["10 in", "0 in"]
# PLACEHOLDER. Read twice? Write ["1/8 in", "3/16 in"]. Not measured? Delete the line.
reading = "1/8 in"
# Where the hole stands now, as on a clock face seen from inside the box; 6:00 is straight down.
clock = "6:00"
# Length of the line that it feeds.
line_length = "60 ft"
# open, or capped where it is closed on purpose.
state = "open"
"""

_NEXT = """
[[outlet]]
label = "{label}"
at = ["{along} in", "{across} in"]
reading = "{reading} in"  # PLACEHOLDER
clock = "6:00"
line_length = "60 ft"
state = "open"
"""

_TAIL = """
# The flows to compute. Names are free. An ordinary day is a trickle; a bucket is not.
[flows]
trickle = "0.5 gpm"
bucket = "5 gal in 60 s"
dose = "30 gpm"

[target]
# equal, length (by line_length), area (by line_area = "180 ft2"), or a list of one number each.
by = "equal"

# How far a share may be from its target. There is no general value: it comes from your permit, your
# code or your inspector. Take the # away and fill in both.
# [tolerance]
# share = "10 %"
# source = "permit number, code section or name"
"""

_POUR = """
# A steady pour of clean water, planned or done, for: dbox pour THIS-FILE. One [[pour]] each.
# [[pour]]
# name = "fast"
# volume = "5 gal"          # poured in all
# time = "60 s"             # or flow = "5 gpm"
# jug = "1 qt"              # what is filled at the outlets
# error = "5 %"             # of a timed catch
# order = ["4", "1"]        # the outlets seen to start, the first one first
# [pour.catch]              # by label; an outlet that was not caught is left out
# 1 = "1.2 L in 30 s"
# 4 = "14 s"                # the time in which the jug was full
# 3 = "dry"                 # watched, and nothing came
"""

_JOB = """
# Rod readings along the pipes, for: dbox grades THIS-FILE. One run for each pipe, in the order of
# the water's way: house sewer, supply pipe, header. Take the # away where you have readings.
# [grades]
# placeholder = true        # take this line out once the readings are your own
# spread = "1/8 in"         # how far two honest rod readings of one place differ
# diameter = "4.026 in"     # inside diameter of the pipes
# roughness = 0.010         # Manning's n; 0.010 is smooth plastic
# [grades.limits]           # what your permit or code asks for; there are marked defaults
# house_sewer = {least = "1/4 in/ft", source = "permit"}
# supply_pipe = {least = "1/8 in/ft", source = "permit"}
# header = {least = "1/8 in/ft", source = "permit"}
# inlet_drop = {least = "1 in", source = "permit"}
# spacing = {most = "4 ft", source = "permit"}   # of stations; without it none is asked for
# [[grades.run]]
# name = "header 1"
# kind = "header"
# outlet = "1"              # headers only: the label of the outlet that it leads away from
# instrument = "by the box" # runs read from one place of the instrument are compared in height
# station = [               # of the invert: rod, or elevation where that is what you have
#     {at = "0 ft", name = "box", rod = "60-1/8 in"},
#     {at = "4 ft", rod = ["60-5/8 in", "60-11/16 in"]},
# ]

# What the paper of the job says besides, for: dbox sheet THIS-FILE. What is absent stays blank.
# [record]
# permit = ""
# address = ""
# date = ""
# weather = ""
# who = ""
# system = ""               # type of system
# bedrooms = ""
# feed = ""                 # gravity, pump, siphon
# bedding = ""              # what the box stands on
# cover = ""                # how deep it lies
# riser = ""
# lid = ""                  # how it is fastened
# seals = ""
# north = ""                # where it lies on the sketch
# benchmark = ""            # what the heights are tied to
# ties = ["", ""]           # distances from two fixed points
# method = ""               # how the heights were read
# photo = ""                # of the still water, with a rule in view
# recheck = ""              # when to look again
# notes = ""
# exceptions = ""
# invented = false          # true: every sheet says that the data are made up
"""

_SURGE = """
# What stands before the box and behind it, for: dbox surge THIS-FILE. Each part may be left out.
# [house]
# people = 4
# [tank]
# inside = ["8 ft", "5 ft"]            # at the water; one diameter for a round tank
# outlet = "4 in"                      # inside diameter of the outlet pipe
# filter_loss = 2                      # of a clean effluent filter, in velocity heads
# clogged = "0 %"                      # how much of the filter
# [supply]                             # the gravity pipe from the tank to the box
# length = "30 ft"
# diameter = "4 in"
# fall = "1/8 in/ft"
# [header]                             # an outlet may differ: header = {length = "12 ft"}
# length = "10 ft"
# diameter = "4 in"
# [trench]                             # an outlet may differ: trench = {soil = "smeared"}
# width = "30 in"
# depth = "20 in"                      # over its bottom, where water surfaces
# pipe = "8 in"                        # invert of its pipe over its bottom
# voids = "35 %"
# acceptance = "0.45 gal/ft2/day"      # long-term rate of the soil
# soil = "biomat"                      # fresh, biomat or smeared
# water_table = "-30 in"               # groundwater over its bottom, negative below
# ponding = "0 in"                     # water in it at the start
# [pump]                               # a dosing pump, for --dose pump
# volume = "60 gal"
# rate = "30 gpm"                      # or curve = [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]] with
# lift = "8 ft"                        # the lift and
# main_length = "60 ft"                # the pressure pipe
# main_diameter = "2 in"
# drain_back = "3 gal"                 # what runs back after a dose
# [siphon]                             # a dosing siphon, for --dose siphon
# inside = ["4 ft", "4 ft"]            # of its chamber
# diameter = "3 in"
# high = "24 in"                       # head at which it starts
# low = "9 in"                         # head at which air breaks it
"""

_EVIDENCE = """
# What was seen where a line is wet, for: dbox diagnose THIS-FILE (or answer its questions: --ask).
# A key that is left out was not looked at; "none", or [] for wet ground, was: that counts too.
# [evidence]
{whole}
# Under one [[outlet]], any of these:
# [outlet.evidence]
{each}
# How common you take a cause to be, in place of the tool's judgement:
# [priors]
# tilt = 14
"""

_PLACEHOLDERS = (("2", 16, 6, "0"), ("3", 16, 14, "1/16"), ("4", 10, 20, "1/8"))


def starter() -> str:
    """Text of a scenario to fill in, valid as it stands; its readings are marked placeholders.

    >>> starter().count("[[outlet]]\\n")
    4
    """
    others = (
        _NEXT.format(label=label, along=along, across=across, reading=reading)
        for label, along, across, reading in _PLACEHOLDERS
    )
    evidence = _EVIDENCE.format(
        whole=starter_lines(Evidence, SYSTEM_KINDS),
        each=starter_lines(OutletEvidence, OUTLET_KINDS),
    )
    return "".join((_HEAD, _FIRST, *others, _TAIL, _POUR, _JOB, _SURGE, evidence))
