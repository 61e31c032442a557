"""Named constants, each with its source. Units stand at the end of the name."""

import datetime

# Rotation of the Earth against the stars: nominal 7.2921150e-5 rad/s (GRS80; IERS Conventions 2010,
# Technical Note 36, table 1.2), in arcseconds a second.
SIDEREAL_RATE_ARCSEC_S = 15.041067

# Mean sidereal day: 86400 s / 1.00273790935 (Aoki et al. 1982, A&A 105, 359).
SIDEREAL_DAY_S = 86164.09053

ARCSEC_PER_RAD = 206264.80624709636  # 180 · 3600 / π
ARCMIN_PER_DEG = 60.0
ARCSEC_PER_DEG = 3600.0

# Photons of a star of magnitude 0 above the atmosphere, per second and square metre, in the whole band:
# flux [Jy] × width over wavelength × 1.51e7 photons/s/m²/Jy. Bessell 1979, PASP 91, 589, table IV: V 3640 Jy and
# 0.16 (as in reference row PHO-02), B 4260 Jy and 0.22, R 3080 Jy and 0.23, I 2550 Jy and 0.19 (recalled).
VEGA_PHOTONS_S_M2 = {"B": 1.4152e10, "V": 8.794e9, "R": 1.0697e10, "I": 7.316e9}

# Sky of the reference hour: a dark country sky (a convention of this workbook).
REFERENCE_SKY_MAG_ARCSEC2 = 21.5

# Nanolambert and magnitude: B = 34.08 exp(20.7233 − 0.92104 V) (Garstang 1986, PASP 98, 364; used by
# Krisciunas & Schaefer 1991, PASP 103, 1033, eq. 1).
GARSTANG_NL = 34.08
GARSTANG_OFFSET = 20.7233
GARSTANG_SLOPE = 0.92104

AIR_DENSITY_KG_M3 = 1.225  # ISO 2533 standard atmosphere, sea level, 15 °C

GAUSSIAN_FWHM_PER_SIGMA = 2.3548200450309493  # 2 √(2 ln 2)

# The Moon as a disc: mean radius (IAU WG on Cartographic Coordinates 2015, Archinal et al. 2018, CMDA 130, 22)
# and the mean distance of its centre (semi-major axis, Murphy 2013, Rep. Prog. Phys. 76, 076901: 384,399 km).
MOON_RADIUS_KM = 1737.4
MOON_DISTANCE_KM = 384_399.0

# Evenings whose whole night, anywhere on Earth, is known: UTC counts SI seconds from 1972 on (ITU-R TF.460), and ERFA's
# Earth (epv00) is stated to 2100; a day or two at each end for the longitude.
FIRST_EVENING = datetime.date(1972, 1, 2)
LAST_EVENING = datetime.date(2099, 12, 29)
