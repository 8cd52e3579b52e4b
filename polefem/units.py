"""Factors that turn a number in a trade unit into SI, and are divided by to go back.

>>> round(0.4 * mm, 6)
0.0004
>>> round(30 * deg / deg, 12)
30.0
"""

from math import pi

__all__ = ["A", "A_mm2", "V", "W", "cm", "deg", "kg", "m", "mT", "mm", "ms", "rpm"]

m: float = 1.0  #: metre
cm: float = 1e-2  #: centimetre, m
mm: float = 1e-3  #: millimetre, m
deg: float = pi / 180.0  #: degree, rad
rpm: float = 2.0 * pi / 60.0  #: revolution per minute, rad/s
ms: float = 1e-3  #: millisecond, s
mT: float = 1e-3  #: millitesla, T
A: float = 1.0  #: ampere
A_mm2: float = 1e6  #: ampere per square millimetre, A/m2
V: float = 1.0  #: volt
W: float = 1.0  #: watt
kg: float = 1.0  #: kilogram
