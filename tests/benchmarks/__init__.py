"""How fast the product is, beside the least that the same answer could cost: see `__main__`."""
