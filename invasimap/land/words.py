"""Words and lengths of the land that other rooms need; apart, so that nothing else of it is loaded for them."""

OUTSIDE = "(outside)"  # the stand of what lies in none
ZONES = ("no_spray", "hand_only", "open")  # strictest first
CLASSES = ("out_of_reach", "foot", "atv_hose", "tractor")  # of access, by code, least capable first
RESTRICTED = "restricted"  # the kind and the rule of what is confidential
WIDEST_GAP_M = 40.0  # an opening in what stops somebody leads through no more than this
