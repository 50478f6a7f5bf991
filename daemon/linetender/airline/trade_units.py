"""Units in which fans, filters and gauges are sold, in those that the project uses."""

L_MIN_PER_CFM = 28.316_846_592
"""Litres per minute in a cubic foot per minute: exact, 0.3048³ m³."""

PA_PER_INCH_OF_WATER = 249.088_91
"""Conventional inch of water: 25.4 mm of 1000 kg/m³ at 9.80665 m/s².

With real water it is 0.10 % less at 60 °F and 0.18 % less at 68 °F.
"""

PA_PER_MM_OF_WATER = 9.806_65
"""Conventional millimetre of water: exact."""

PA_PER_PSI = 6_894.757_293_168
"""Pound-force per square inch."""

PA_PER_ATMOSPHERE = 101_325.0
"""Standard atmosphere: exact."""

PA_PER_MM_OF_MERCURY = 133.322_387_415
"""Conventional millimetre of mercury (13 595.1 kg/m³ at 9.80665 m/s²)."""

M_S_PER_FPM = 0.00508
"""Metres per second in a foot per minute: exact, 0.3048/60."""

M3_S_PER_L_MIN = 1.0 / 60_000.0
"""Cubic metres per second in a litre per minute: exact."""
