"""A pump that joins two bodies of water into one loop."""

from simulators.tank import Tank


def circulate(one: Tank, other: Tank, *, seconds: float, flow_m3_h: float) -> None:
    """Pump water round between two tanks: the same volume goes each way.

    Parameters
    ----------
    one, other : Tank
        The two bodies of water.
    seconds : float
        Length of the step; the volume moved must stay well below the smaller tank. [s]
    flow_m3_h : float
        Flow each way, at least 0. [m3/h]
    """
    moved = min(flow_m3_h * seconds / 3600.0, 0.5 * one.volume_m3, 0.5 * other.volume_m3)
    if moved <= 0.0:
        return
    one_c, other_c = one.water_c, other.water_c
    there, back = one.draw(moved), other.draw(moved)
    one.pour(moved, back, water_c=other_c)
    other.pour(moved, there, water_c=one_c)
