"""What the ground is and allows: terrain, protection (where not) and access (how)."""
