"""Files from the shop's past: rigs, counters, components, parts, stock and readings.

A file is read (`files`), its cells become values (`cells`, `columns`), and its rows are done
through the same services as a person's clicks (`fleet`, `stock`, `readings`); `run` tries a file
out by undoing all of it, or imports all of it.
"""
