"""What the uncertainty of a mean level is made of."""

import math

from benchlog.analysis.measurement import UncertaintyParts
from benchlog.core.uncertainty import Accuracy, rectangular


def level_parts(
    type_a: float,
    accuracy: Accuracy | None,
    value: float,
    watched_s: float,
    *,
    zeroable: bool = False,
    most_s: float = math.inf,
    scale: float = 1.0,
) -> UncertaintyParts | None:
    """The parts of a mean's uncertainty, as ``Accuracy.level_u`` combines them; None where no accuracy is stated.

    Args:
        type_a: its standard uncertainty from scatter. value: the mean; both in the channel's unit.
        watched_s: the time behind it, s. zeroable: a marked zero would take its offset off, and none was used.
        most_s: more time than this is not used, s. scale: from the channel's unit to the check's.
    """
    if accuracy is None:
        return None
    return UncertaintyParts(
        type_a=scale * type_a,
        watched_s=watched_s,
        offset=scale * rectangular(accuracy.offset),
        gain=scale * rectangular(accuracy.gain_rel * abs(value)),
        resolution=scale * accuracy.resolution_u,
        zeroable=zeroable,
        most_s=most_s,
    )
