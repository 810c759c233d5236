"""A layout for a file that nobody has seen, and the questions that its text leaves open.

guess        the whole: sample, layout, questions; begin here
text         bytes to lines and cells: encoding, delimiter, quotes
table        where the table is; preamble: what stands above it
columns      each column by itself; headings, words: what its heading says
roles        which column is which; which_side, scales, leftovers: sides, units, what was left
cells        how a date, a time or a number is written; moments, timing: when rows were written
doubts       the questions and their answers; draft: what is known so far
"""
