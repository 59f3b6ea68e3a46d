"""Who may look at prices and costs, and who sets them."""

from studio.foundation.roles import Capability

LOOK = (Capability.READ, Capability.SEE_COSTS)
SET = (Capability.READ, Capability.PRICE, Capability.SEE_COSTS)
WORK_OUT = (Capability.READ, Capability.COMPUTE, Capability.SEE_COSTS)
GET = ("GET", "HEAD")
