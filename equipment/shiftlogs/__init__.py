"""A rig controller's log of the day, in whatever layout it has, and the days it tells of.

What each figure means: the page “How a log is read”, and DEVELOPERS.md. Nothing here knows Django,
the database or the clock.

    text      bytes to lines and cells: encoding, quotes
    cells     how dates, times and numbers are written in one cell
    layout    which column is which, and how its cells are written
    guess     a layout for a file nobody has seen, and the questions that its text leaves open:
              table (delimiter, headings, first row), preamble, columns and headings (with words),
              timing and moments (when), roles, which_side, scales (units), leftovers, doubts
    reading   a file and its layout to blocks of rows, streamed: pieces (of the bytes), rows (what
              is wanted of each), lines (a line to its cells), fast (in columns, with stamps for the
              times) or careful (cell by cell), zones and dials (wall times to instants)
    days      blocks of rows to day figures: instants (rows that come twice), steps (gaps and
              logged time), faces (what a counter gained, resets, glitches), figures (the day)
    joining   several files of one day as one
"""
