"""The printed service sheet: dataclasses in, PDF bytes out.

Knows no Django and no clock. `shop.paper.sheet` is the way in; the other modules each draw one
part of the page.
"""
