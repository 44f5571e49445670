"""Files and values: units, fields, faults, tables, row files. Nothing here knows a scenario."""
