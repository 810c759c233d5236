"""A rig controller's log of the day, in whatever layout it has, and the days it tells of.

What each figure means: the page “How a log is read”, and DEVELOPERS.md. Nothing here knows Django,
the database or the clock.

    layout, blocks   what columns, rows and days are
    guessing         a layout for a file nobody has seen, and the questions it leaves open
    reading          a file and its layout to blocks of rows, streamed
    days             blocks of rows to day figures; several files of one day joined
"""
