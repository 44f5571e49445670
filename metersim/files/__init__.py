"""Files and their values: units, fields, faults, tables, rows that survive. Knows no scenario."""
