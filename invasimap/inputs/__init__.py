"""Field files in, clean tables and a ledger out: formats, fields, species names, patches, layers."""
