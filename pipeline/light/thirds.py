"""The lines of the thirds and their crossings, as fractions of a picture's side."""

from __future__ import annotations

from fractions import Fraction
from itertools import product

THIRDS = (Fraction(1, 3), Fraction(2, 3))
CROSSINGS = tuple(product(THIRDS, THIRDS))
