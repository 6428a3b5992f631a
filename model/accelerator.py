"""How do displays in motion share an accelerator: who gets a display slot, who does not?"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from model.records import Record, number


class Accelerator(Record):
    """The cards of one host, and who may use them."""

    cards: int = number("accelerator.cards")
    displays_per_card: int = number("accelerator.displays_per_card")
    megapixels_per_s_per_card: float = number("accelerator.megapixels_per_s_per_card")
    share_pct: float = number("accelerator.share_pct")

    @property
    def slots(self) -> int:
        """Display slots of all cards."""
        return self.cards * self.displays_per_card

    @property
    def megapixels_per_s(self) -> float:
        """Pixel rate of all cards. [Mpixel/s]"""
        return self.cards * self.megapixels_per_s_per_card


def assign_most_active_first(
    displays: Any, pixel_rate_mpx_s: Sequence[float], accelerator: Accelerator
) -> Any:
    """Return how many displays of each kind get a display slot, the most active kinds first.

    Parameters
    ----------
    displays : array of shape (kinds, ...), whole numbers of 0 or more
        Displays in motion of each kind that may use the card; further axes are separate
        hosts or moments. [displays]
    pixel_rate_mpx_s : sequence of length kinds, 0 or more
        Changed pixels per second of one display of the kind. [Mpixel/s]
    accelerator : Accelerator
        The cards.

    Returns
    -------
    array of the shape of `displays`
        Displays with a slot. [displays] All zero without a card.

    Notes
    -----
    Kinds are served in the order of falling pixel rate, equal ones in the order given. A
    display that does not fit into what is left of the pixel rate is passed over, and a less
    active one that fits is served. One card more or one slot more never takes a slot from
    anyone unless the pixel rate binds; where it binds, a large display that is let in can
    keep out two smaller ones, so a larger share may then save a little less.

    Source
    ------
    Our own rule of use; vendors' drivers differ, and their documentation comes first.
    """
    displays = np.asarray(displays)
    served = np.zeros_like(displays)
    slots_left = np.full(displays.shape[1:], accelerator.slots, dtype=displays.dtype)
    pixels_left = np.full(displays.shape[1:], accelerator.megapixels_per_s, dtype=float)
    rates = np.asarray(pixel_rate_mpx_s, dtype=float)
    for kind in np.argsort(-rates, kind="stable"):
        take = np.minimum(displays[kind], slots_left)
        if rates[kind] > 0:
            fits = np.floor(pixels_left / rates[kind] * (1 + 1e-12))
            take = np.minimum(take, fits).astype(displays.dtype)
        served[kind] = take
        slots_left -= take
        pixels_left -= take * rates[kind]
    return served
