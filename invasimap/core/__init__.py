"""Words every folder shares: units, reference systems, errors, settings and whole-file writing; knows no ecology."""
