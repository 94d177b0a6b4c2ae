"""Local relief: the map as a small particle sees it, and the bumps and hollows that stand out of it.

Below treatment and judgement alike: a treatment masks bumps, fitness counts them, and both must mean the same ones.
"""

from core.relief.bodies import Bodies
from core.relief.eye import PARTICLE, PROBE_RADIUS, Eye, Seen, probe_radius_of, see
from core.relief.find import Found, K, find

__all__ = ["PARTICLE", "PROBE_RADIUS", "Bodies", "Eye", "Found", "K", "Seen", "find", "probe_radius_of", "see"]
