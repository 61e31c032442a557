"""Lead-acid batteries, where fast discharge costs charge (Peukert) and cold takes its part."""

from __future__ import annotations

from workbook.checks import between, positive

REFERENCE_DEGC = 25.0  # reference of the temperature coefficient below


def peukert_hours(*, capacity_ah, rated_hours, current_a, exponent):
    """How long a lead-acid battery carries a constant current.

    Parameters
    ----------
    capacity_ah : float or array
        Charge at the rated time [Ah].
    rated_hours : float or array
        Time for which that charge is stated, 20 for most small batteries [h].
    current_a : float or array
        Current drawn [A].
    exponent : float or array
        Peukert's exponent: 1.1 to 1.2 sealed, to 1.4 old or flooded; 1 loses nothing.

    Returns
    -------
    float or array
        Time until empty [h].

    Raises
    ------
    ValueError
        If a number is not positive, or the exponent lies outside 1 to 2.

    Notes
    -----
    t = T (C/(I T))^k, which gives T back at the rated current; t = C/I^k does not. Holds for lead at a constant
    current between about the 1 h and the 100 h rate: slower, self-discharge wins. NiMH and lithium cells have
    exponents of 1.00 to 1.08: at the currents of a night leave it away there, their limit is voltage and cold.

    References
    ----------
    Peukert, W. (1897), Über die Abhängigkeit der Kapazität von der Entladestromstärke bei Bleiakkumulatoren,
    ETZ 18, 287 (recalled), in the form with the rated time; reference rows PWR-10 and PWR-12.

    Examples
    --------
    >>> print(round(peukert_hours(capacity_ah=100, rated_hours=20, current_a=10, exponent=1.2), 2))
    8.71
    """
    rated = positive("rated_hours", rated_hours)
    rated_a = positive("capacity_ah", capacity_ah) / rated
    current = positive("current_a", current_a, cure="no current empties nothing")
    k = between("exponent", exponent, 1, 2, cure="1.1 to 1.4 for lead, 1 for no loss")
    return rated * (rated_a / current) ** k


def lead_cold_share(*, temperature_degc):
    """The share of a lead-acid battery's charge that is left in the cold.

    Parameters
    ----------
    temperature_degc : float or array
        Temperature of the electrolyte [°C].

    Returns
    -------
    float or array
        Share against 25 °C.

    Raises
    ------
    ValueError
        If the temperature lies outside −30 to 50 °C.

    Notes
    -----
    1 + 0.006 (T − 25), for the 10 to 20 h rate; 5 K the other way change it by 0.03. A discharged battery freezes
    from about −10 °C.

    References
    ----------
    Temperature coefficient of stationary lead batteries, IEC 60896; reference row PWR-13.

    Examples
    --------
    >>> print(round(lead_cold_share(temperature_degc=0), 2))
    0.85
    """
    cells = between("temperature_degc", temperature_degc, -30, 50, cure="did you pass kelvins?")
    return 1 + 0.006 * (cells - REFERENCE_DEGC)
