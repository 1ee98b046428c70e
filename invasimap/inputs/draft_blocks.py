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
WORK: Final = """\
# ---- what is done, when, with what, and for how much: without these sections no mix, no hours, no money ------
# Take the # from what you have. What stands between empty quotes ("") is yours to type; other values are as shown
# until you change them. No figure of a label is written here: each comes from the label in your hand.

# [season]                             # dates seen here, month-day; what is not known has no window
# native_leaf_drop = ""                # natives have dropped their leaves; such as "10-20"
# killing_freeze = ""                  # the first
# full_leaf = ""                       # of plants that drop theirs
# leaf_colour = ""                     # until then they are green
# after_leaf_drop = "3 day"
# after_freeze = "0 day"
# sap_flow = ["", ""]                  # first and last day of strong flow, when stumps are not treated

# [technique]
# rules = "rules.csv"                  # a table of your own; left out, that of the package
# reach = "6 ft"                       # leaves above it are never sprayed from the ground
# pull_height = "2 ft"                 # what is higher, or infests more than few, is not pulled
# few = "500 sq ft"
# dense = "50 %"                       # cover above which hose or boom sprays all over
# basal_stem = "6 in"                  # the thickest stem treated through its bark
# low_volume_height = "7 ft"           # below it, and up to low_volume_stems, leaves take a low volume
# low_volume_stems = "1500 stems/acre"
# wait = "8-10 weeks"                  # how long resprouts grow before they are sprayed
# least_piece = "100 sq ft"            # smaller pieces of a patch go with its largest

# [[mix]]                              # one block a mix
# name = ""
# product = ""                         # type this from the label
# registration = ""                    # type this from the label
# ingredient = ""                      # type this from the label: lb/gal or g/l of product
# ingredient_name = ""                 # type this from the label: products that share it, or lack it, share limits
# rate = ""                            # type this from the label: % v/v of the mix, or by area such as qt/acre
# max_per_application = ""             # type this from the label: lb/acre or kg/ha, or "none on the label"
# max_per_year = ""                    # type this from the label: likewise
# limit_year = ""                      # type this from the label: "calendar", "365 days" or the day it begins
# adjuvant = { name = "", rate = "" }  # type this from the label
# dye = { name = "", rate = "" }       # type this from the label
# price = ""                           # what you pay, such as USD/gal
# species = []                         # type this from the label: the plants it may be used on; ["*"]: every one
# zones = []                           # where it may be used: "open", "hand_only"
# technique = []                       # type this from the label: how it may be put on: "foliar_spot",
#                                      # "foliar_broadcast", "cut_then_foliar", "cut_stump", "basal_bark"
# wind = ""                            # type this from the label: from - to, in mph or m/s
# temperature = ""                     # type this from the label: from - to, in degF or degC
# rain_free = ""                       # type this from the label
# reentry = ""                         # type this from the label

# [[rig]]                              # one block a rig; tank and output are of the whole rig
# name = ""
# access = ""                          # "foot", "atv_hose" or "tractor"
# tank = ""
# output = ""                          # in gal/min or l/min
# crew = ""                            # how many people, without the quotes
# wage = ""                            # of each of them, such as "28 USD/h"
# machine = ""                         # its hour without the driver; or [rig.machine_costs], as in the README
# available = ""                       # days; left out, every working day
# trigger_share = 0.6                  # of the time at the plants mix flows
# fill = "12 min"                      # filling and mixing a tank, once there
# refill_trip = ""                     # one way from the water to the work; on foot the map of reach says it
# ground_speed = ""                    # of a boom, with its swath
# swath = ""
# calibration = [{ rate = "", date = "" }]       # what `invasimap calibrate` gives; without one no amounts
# pace = [{ technique = "", hours = "" }]        # person-hours from your own records, such as "40 h/acre"

# [labour]
# productive = "6.5 h"                 # of a paid day
# paid = "8 h"
# travel_cost = ""                     # of a crew, such as "60 USD/day"
# spray_day_chance = 0.45              # of days the weather lets a crew spray
# least_part = "30 min"                # for less no work is begun at a day's end, nor left to the next day

# [spray]
# waste = "10 %"                       # mixed beyond what the plants take; counts in every dose
# surface = "sloped"                   # or "map": which acres a mix by percent is spread over
# jug_mark = "0.5 fl oz"               # the finest mark of the jug that product is measured with
# calibration_age = "30 day"           # no tank is mixed by an older calibration

# [budget]
# money = ""                           # such as "12000 USD"; without this section the rigs' days alone bind

# [schedule]
# start = ""                           # year-month-day; left out, the day the plan is made
# weeks = 52
# stand_priority = { "7" = 2.0 }       # times as much as elsewhere; 0: nothing is planned there
# outlying_weight = 2.0                # of what lies outlying_distance or farther from a larger cluster; 1: none
# outlying_distance = "300 ft"
# cluster_distance = "100 ft"          # patches of a species so near each other are one cluster
# gap = "0.5 %"                        # good enough: proven to be this close to the best
# time_limit = "60 s"
# split_jobs = false                   # true: any job may be parted over two following weeks
# days_per_week = 5
# money_step = "1000 USD"              # of the curve of what further money buys
# curve_solves = 8
# growth = ""                          # of infested ground in a year, for what waiting costs
# discount = "5 %"                     # a year, of money spent later
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
