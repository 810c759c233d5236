"""Blocks of rows to the figures of days.

reckoning    the whole: `Reckoner`, `day_json`; begin here
joining      several files that share days, as one
faces, paces counters: gains, resets, glitches, rollovers, and what no pump can do
steps        time between rows: logged, gap, night
instants     rows that come twice or share a time
tally, figures   what is gathered of a day, and what is made of it
"""
