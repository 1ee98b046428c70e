"""The blocks of a first ``tract.toml`` that stand there whatever the folder holds, commented out."""

from __future__ import annotations

from typing import Final

from invasimap.core.settings import fresh_words

ACCESS: Final = """\
# ---- what the crew has, and what it will drive on: a means without its section is not at hand --------------
# Take the # from the sections you have and type your own numbers with their units ("15 %", "12 ft", "30 min").

# [access.tractor]
# max_slope = ""                       # up and down the fall line
# max_side_slope = ""                  # across it
# clearance = ""                       # narrower gaps do not pass

# [access.atv]
# max_slope = ""                       # for leaving the way; "0 %" keeps it on ways
# max_side_slope = ""
# clearance = ""
# hose_length = ""                     # "0 ft": no hose, only what it drives over

# [access.foot]
# max_slope = ""
# max_walk = ""                        # one way, loaded, from the nearest place a vehicle can stop
"""
RANGES: Final = """\
# ---- how far the figures may be off: each has a 90 % range, drawn with these values until you change them ----

# [uncertainty]
# draws = 500                          # surveys simulated; 0 for none, and no ranges
# size_error = "20 %"                  # standard deviation of paced or guessed sizes
# cover_error = "5 %"                  # a cover written as one figure, either way; "0 %" where it was measured
# accuracy_is = "68 %"                 # what gps_accuracy and accuracies in the records mean: "68 %", "95 %" or "rms"
"""
INTAKE: Final = """\
# ---- how field files are read: as shown until you change it --------------------------------------------------

# [intake]
# species = "our_plants.csv"           # your own plants, beside the catalogue; left out, the catalogue alone
# closing_gap = "20 m"                 # a walk whose ends are so near is an outline; "0 m": never
# mend_limit = "1 %"                   # an outline that mending changes by more is set aside
# far = "1 km"                         # from the stands' bounds: beyond it a position is a mistake
# repair_positions = true
# merge_copies = true
"""
OUTPUTS: Final = """\
# ---- maps and crew files: as shown until you change them ----------------------------------------------------

# [mapbook]
# scale = "auto"                       # the largest round scale that holds each stand; or one for all: "1:2,400"
# paper = "letter"                     # or "a4"; left out, by the units
# most_sheets = 200                    # stands with something to do first

# [crew]                               # what one file for a receiver may hold; the rest goes into foot_2.gpx and so on
# waypoints = 500                      # an old receiver's memory
# track_points = 2000                  # in one outline; larger ones are cut in two
# patches = false                      # true: the patches are marked too, the largest first

# [map]                                # pictures of the ground that the field map's reader may turn on; left out, none
# background = { address = "https://maps.example.org/{z}/{x}/{y}.png", attribution = "their makers", max_zoom = 19 }
"""
EMERGENCY: Final = """\
# ---- in an emergency: your own words, printed on every sheet; what is left out is a line to fill in by hand ----

# [emergency]
# emergency_number = ""
# contact = ""                         # who leads, and how to reach them
# road_address = ""                    # where an ambulance is sent
# gate = ""                            # which, and how it opens
# hospital = ""
# hospital_phone = ""
# poison_centre_phone = ""
# signal_spots = ""                    # where a radio or phone works
# labels_at = ""                       # where the product labels and safety data sheets lie
# spill_steps = ""
# leave_by = ""                        # the way out when all else fails
"""


def confidential_block(*, used: bool) -> str:
    """Words to hide confidential features by: commented out unless some are likely there (``used``)."""
    lines = [
        "[confidential]                       # the words were drawn just now: keep them, and tell them to nobody",
        f'words = "{fresh_words()}"',
    ]
    more = 'hide_within = "300 ft"               # how near nobody can place a confidential feature'
    if used:
        return "\n".join([*lines, f"# {more}"])
    head = "# For [[protect]] blocks with confidential = true: what must never be named or placed in what is passed on."
    return "\n".join([head, *(f"# {line}" for line in (*lines, more))])
