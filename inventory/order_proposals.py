"""What to ask a supplier for: whole packs, and when more of them cost less in all.

Pure: numbers in and out. An all-units discount (each pack of the order has the price of the break
that is reached) makes the cost fall at a break: there a larger order may cost less than a smaller
one (Snyder and Shen, Fundamentals of Supply Chain Theory, 2nd ed., sec. 3.4, from memory).
"""

from dataclasses import dataclass

from inventory.pack_prices import PackPrice, pack_price_cents, packs_for


@dataclass(frozen=True, slots=True)
class Offer:
    """How a supplier sells a part.

    pack_steps, least_packs: > 0. [steps / pack], [packs] prices: as `pack_price_cents` takes them.
    """

    pack_steps: int
    least_packs: int = 1
    prices: tuple[PackPrice, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposed:
    """So many packs, > 0, at the price each has then; 0 where no price is known. [cents / pack]

    needed_packs: what the need alone asks for. saved_cents: what the packs beyond it take off the
    whole, 0 where there are none.
    """

    packs: int
    pack_steps: int
    pack_price_cents: int
    needed_packs: int
    saved_cents: int = 0

    @property
    def quantity_steps(self) -> int:
        return self.packs * self.pack_steps

    @property
    def price_cents(self) -> int:
        return self.packs * self.pack_price_cents


def propose(needed_steps: int, offer: Offer, *, keeps: bool) -> Proposed:
    """Return how many packs to ask for: enough, the least that is sold, and the cheapest in all.

    needed_steps: > 0, else ValueError. keeps: False where more than is needed may expire: then no
    pack more is taken for its price. Of two that cost alike the smaller.
    """
    needed = packs_for(needed_steps, pack_steps=offer.pack_steps, least_packs=offer.least_packs)
    plain_cents = needed * pack_price_cents(offer.prices, needed)
    # A price of 0 is one that nobody knows.
    breaks = [
        each.from_packs
        for each in offer.prices
        if each.from_packs > needed and each.pack_price_cents
    ]
    candidates = [needed, *breaks] if keeps and plain_cents else [needed]
    packs = min(candidates, key=lambda each: (each * pack_price_cents(offer.prices, each), each))
    price = pack_price_cents(offer.prices, packs)
    return Proposed(
        packs=packs,
        pack_steps=offer.pack_steps,
        pack_price_cents=price,
        needed_packs=needed,
        saved_cents=plain_cents - packs * price if packs > needed else 0,
    )
