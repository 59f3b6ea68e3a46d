"""What other programs are not told."""

from studio.foundation.errors import InvalidInput, StateConflict


class WebhookRefusal(InvalidInput):
    """Messages cannot be sent to a target as it is described."""

    code = "webhook-refusal"
    title = "Messages cannot be sent there"


class WebhookDelivered(StateConflict):
    """A message that was taken is not sent again."""

    code = "webhook-delivered"
    title = "That message was already taken"
