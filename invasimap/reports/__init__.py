"""Paper and screens from a Plan: maps, report and files that draw and write, and change nothing."""
