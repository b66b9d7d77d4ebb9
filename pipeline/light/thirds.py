"""The lines of the thirds, as fractions of a picture's side; where two cross is a crossing of the thirds."""

from __future__ import annotations

from fractions import Fraction

THIRDS = (Fraction(1, 3), Fraction(2, 3))
