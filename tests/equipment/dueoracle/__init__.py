"""A second opinion on due dates: from plain history, by brute force, day by day.

Nothing here calls the product's arithmetic. `plain` says what happened, `reckon` what follows from
it, `gather` reads what happened from the database, `shop` lets things happen in random order.
`python -m tests.equipment.dueoracle 200` tries so many more seeds.
"""
