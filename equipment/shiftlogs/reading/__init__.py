"""A file and its layout to blocks of rows, streamed.

stream       the whole: `read`; begin here
pieces       the file cut where lines end, from either end
fast         a piece in columns; careful: a piece cell by cell, and what is wrong with it
rows, lines  what both ways hold to
stamps, dials, zones   times to instants
"""
