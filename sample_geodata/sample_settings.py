"""The sample's tract.toml, written out by make_sample.py."""

TRACT_TOML = """\
# An invented tract for trying invasimap. The place, people, rules, products and numbers are all made up.
# The product label is the law: type these numbers from your own label and your own rules, never from here.

[tract]
name = "Quillback Hollow Preserve (invented)"
units = "us"                         # us | metric, for what is shown
timezone = "America/New_York"

# ---- what the crews mapped -------------------------------------------------------------------------------

[[survey]]                           # waypoints and walked loops from a GPS receiver
files = ["survey/north_crew.gpx"]
observer = "north crew"
gps_accuracy = "5 m"

[[survey]]                           # a spreadsheet; species are PLANTS symbols
files = ["survey/creek_crew.csv"]
crs = "EPSG:4326"
observer = "creek crew"
gps_accuracy = "6 m"
columns = { species = "SPP", cover = "PCT_COV" }
defaults = { cover = "25-50 %" }     # used, and marked in the ledger, where the record has none

[[survey]]                           # placemarks from a phone, in folders; species are common names
files = ["survey/ridge_crew.kmz"]
observer = "ridge crew"
gps_accuracy = "8 m"

[[survey]]                           # thickets walked round, a zipped shapefile in state plane feet
files = ["survey/thickets.zip"]
observer = "creek crew"
gps_accuracy = "4 m"

[stands]
file = "stands.gpkg"
layer = "stands"
id = "stand"

# ---- what spray must stay away from ----------------------------------------------------------------------
# All distances are invented examples. no_spray and hand_only are measured from the feature's edge.

[[protect]]
kind = "perennial stream"
file = "water.gpkg"
layer = "streams"
where = { class = "perennial" }
width = "14 ft"                      # full width of the widest reach; the protective choice for the others
no_spray = "25 ft"
hand_only = "75 ft"
per_slope = "1 ft"                   # both grow by this much per percent of slope at the stream
position_error = "10 ft"
rule = "preserve plan 4.2 (example)"
blocks = ["tractor", "atv"]          # machines cross only at the crossings below; hose and feet do cross

[[protect]]
kind = "intermittent stream"
file = "water.gpkg"
layer = "streams"
where = { class = "intermittent" }
width = "3 ft"
no_spray = "15 ft"
hand_only = "35 ft"
position_error = "10 ft"
rule = "preserve plan 4.3 (example)"

[[protect]]
kind = "wetland"
file = "water.gpkg"
layer = "wetlands"
no_spray = "30 ft"
hand_only = "100 ft"
rule = "preserve plan 4.4 (example)"
blocks = ["tractor", "atv"]

[[protect]]
kind = "rare plant"
file = "rare_plants.geojson"
no_spray = "50 ft"
hand_only = "100 ft"
rule = "heritage agreement 2 (example)"
confidential = true                  # never named or placed in what is passed on; see [confidential] below

[[protect]]
kind = "well"
file = "wells.csv"
crs = "EPSG:4326"
no_spray = "100 ft"
hand_only = "150 ft"
rule = "county well rule 7 (example)"

[[protect]]
kind = "organic field"
file = "neighbours.kml"
no_spray = "60 ft"
rule = "letter to the neighbour (example)"

[confidential]
words = "these are the sample's own: write yours"  # yours alone, told to nobody, the same from plan to plan
hide_within = "150 ft"               # nobody can place the rare plants better than this; 300 ft unless said

# ---- the ground ------------------------------------------------------------------------------------------

[land]
elevation = "dem.tif"
elevation_unit = "m"
open_ground = { file = "land.gpkg", layer = "open" }
barriers = { file = "land.gpkg", layer = "barriers" }
wet_ground = { file = "land.gpkg", layer = "wet" }
crossings = { file = "land.gpkg", layer = "crossings" }

[ways]
file = "ways.gpkg"
layer = "ways"
column = "class"
allows = { road = ["tractor", "atv", "foot"], trail = ["atv", "foot"], path = ["foot"] }

[entries]
file = "gates.csv"

# ---- what the crew has, and what it will drive on --------------------------------------------------------

[access]
cell = "10 ft"

[access.tractor]
max_slope = "15 %"
max_side_slope = "10 %"
clearance = "12 ft"

[access.atv]
max_slope = "12 %"                   # small, so that the machine stays mostly on ways and fields
max_side_slope = "8 %"
clearance = "6 ft"
hose_length = "300 ft"
hose_loss = "10 %"
hose_diameter = "0.5 in"
hose_roughness = 125
flow = "3 gal/min"
pump_pressure = "150 psi"
nozzle_pressure = "40 psi"

[access.foot]
max_slope = "60 %"
max_walk = "30 min"
off_way = 0.6
load = 0.7

# ---- the map book ----------------------------------------------------------------------------------------

[mapbook]
scale = "auto"                       # the largest round scale that holds each stand; or one for all: "1:2,400"

[emergency]                          # your own words; what is missing is printed as a line to fill in by hand
gate = "south gate, chained; key in the office"
labels_at = "box behind the seat of the truck"
leave_by = "downhill to the county road"

[season]
native_leaf_drop = "10-20"
killing_freeze = "11-05"
full_leaf = "05-20"                  # these dates are invented too
leaf_colour = "09-25"
after_leaf_drop = "3 day"
sap_flow = ["02-20", "04-15"]

[[window]]                           # before its seed ripens
species = ["Microstegium vimineum"]
technique = ["foliar_spot", "foliar_broadcast", "mow"]
first = "06-15"
last = "08-10"

[technique]
reach = "6 ft"                       # leaves above it are never sprayed from the ground

# ---- mixes: INVENTED; copy yours from the label in your hand ---------------------------------------------

[[mix]]
name = "late-season foliar"
product = "Example Product A"        # no such product
registration = "00000-000"
ingredient = "3.3 lb/gal"
ingredient_name = "example acid"
rate = "1.1 % v/v"
max_per_application = "2.9 lb/acre"
max_per_year = "6.1 lb/acre"
adjuvant = { name = "Example adjuvant", rate = "0.4 % v/v", price = "22 USD/gal" }
dye = { name = "Example dye", rate = "1 fl oz per 3 gal", price = "60 USD/gal" }
price = "85 USD/gal"
species = ["*"]
zones = ["open"]
technique = ["foliar_spot", "foliar_broadcast", "cut_then_foliar"]
wind = "3-10 mph"
temperature = "40-85 degF"
rain_free = "6 h"
reentry = "4 h"

[[mix]]
name = "cut-stump"
product = "Example Product B"        # no such product
registration = "00000-001"
ingredient = "3.7 lb/gal"
ingredient_name = "example ester"
rate = "23 % v/v"
max_per_application = "4.2 lb/acre"
max_per_year = "5.9 lb/acre"
price = "95 USD/gal"
species = ["*"]
zones = ["open", "hand_only"]
technique = ["cut_stump"]
wind = "0-12 mph"
temperature = "32-90 degF"
rain_free = "3 h"
reentry = "4 h"

# ---- rigs and money --------------------------------------------------------------------------------------

[[rig]]
name = "backpack pair"
access = "foot"
tank = "4 gal"
output = "0.4 gal/min"
crew = 2
wage = "28 USD/h"
machine = "0 USD/h"
available = "20 day"
calibration = [                      # invented; yours by invasimap calibrate
    { rate = "36 gal/acre", date = 2026-07-30 },
    { rate = "2.1 gal/acre", date = 2026-07-30, technique = "cut_stump" },
]
pace = [                             # person-hours, invented; yours from your own records
    { technique = "pull", hours = "40 h/acre" },
    { technique = "cut_stump", hours = "30 h/acre" },
    { technique = "cut_then_foliar", hours = "24 h/acre" },
]

[[rig]]
name = "ATV with hose reel"
access = "atv_hose"
tank = "25 gal"
output = "3 gal/min"
crew = 2
wage = "30 USD/h"
machine = "22 USD/h"
available = "12 day"
refill_trip = "6 min"                # one way, from the water to the work
calibration = [                      # invented; yours by invasimap calibrate
    { rate = "41 gal/acre", date = 2026-07-30 },
    { rate = "2.1 gal/acre", date = 2026-07-30, technique = "cut_stump" },
]
pace = [
    { technique = "pull", hours = "40 h/acre" },
    { technique = "cut_stump", hours = "30 h/acre" },
    { technique = "cut_then_foliar", hours = "24 h/acre" },
]

[[rig]]
name = "field tractor"
access = "tractor"
tank = "110 gal"
output = "5 gal/min"
crew = 1
wage = "34 USD/h"
machine = "61 USD/h"
available = "6 day"
refill_trip = "8 min"
calibration = [                      # invented; yours by invasimap calibrate
    { rate = "31 gal/acre", date = 2026-07-30 },
]
pace = [{ technique = "mow", hours = "1.5 h/acre" }]

[labour]
productive = "6.5 h"                 # of a paid day
paid = "8 h"
travel_cost = "60 USD/day"           # a crew's

[spray]
jug_mark = "0.1 fl oz"               # the finest mark of what the crew measures with
waste = "10 %"                       # counts in every dose

[budget]
money = "16000 USD"

# ---- what comes first: INVENTED judgements; yours will differ ---------------------------------------------

[schedule]
start = 2026-08-03                   # the day the plan is made unless it is said
weeks = 52
days_per_week = 4                    # a crew's, from Monday
outlying_weight = 2.0                # an outlier counts twice: satellites spread fastest for their size
outlying_distance = "300 ft"
cluster_distance = "100 ft"
time_limit = "60 s"
growth = "20 %"                      # a year, for what waiting costs
"""
