"""Properties of the heating water that drive the plant model."""

from analysis.rehearsal.physics.compiled import compiled

HEAT_CAPACITY_J_KG_K = 4182.0
"""Mean specific heat of liquid water from 20 to 80 Cel, within 0.4 % (IAPWS-IF97)."""
KELVIN = 273.15
GRAVITY_M_S2 = 9.80665
KG_S_PER_M3_H = 988.0 / 3600.0
"""Mass flow of one m3/h of water at about 50 Cel."""


@compiled
def density_kg_m3(temp_c: float) -> float:
    """Density of air-free water at atmospheric pressure.

    Parameters
    ----------
    temp_c : float
        Temperature, 0 to 100 [Cel].

    Returns
    -------
    float
        Density [kg/m3].

    References
    ----------
    G. S. Kell, J. Chem. Eng. Data 20 (1975) 97, equation 16.
    """
    t = temp_c
    top = 999.83952 + t * (
        16.945176
        + t * (-7.9870401e-3 + t * (-46.170461e-6 + t * (105.56302e-9 - t * 280.54253e-12)))
    )
    return top / (1.0 + 16.879850e-3 * t)


@compiled
def thermosiphon_head_m(warm_c: float, cool_c: float, height_m: float) -> float:
    """Head by which two columns of water of different temperature drive a loop.

    Positive where the warm column is the lighter one.

    Parameters
    ----------
    warm_c, cool_c : float
        Mean temperatures of the rising and the falling column [Cel].
    height_m : float
        Height between the middles of heat source and emitter [m].

    Returns
    -------
    float
        Head in metres of the cool water column [m].
    """
    cool = density_kg_m3(cool_c)
    return (cool - density_kg_m3(warm_c)) / cool * height_m


def specific_heat_j_kg_k(temp_c: float) -> float:
    """Specific heat of water at heating-plant pressure [J/(kg K)], 10 to 90 Cel.

    A cubic through the IAPWS-IF97 values at 20, 40, 60 and 80 Cel and 0.3 MPa.
    """
    t = (temp_c - 20.0) / 20.0
    return 4184.2 + t * (-11.81667 + t * (6.0 - t * 0.28333))
