"""Forms of the stock pages: they turn what was typed into steps, cents and rows; none saves."""
