"""From a [[notify]] table to its recipients."""

from collections.abc import Sequence

from afterfill.config import Notify
from afterfill.sinks.notify.message import Delivery


def deliveries_of(table: Notify) -> Sequence[Delivery]:
    """The recipients: one for each address in `url_file`, or one mail; none for a heartbeat alone.

    Raises SinkUnavailable with one sentence when they cannot be had; nothing is sent.
    """
    if table.smtp is not None:
        from afterfill.sinks.notify.mail import MailDelivery

        return [MailDelivery(table.smtp)]
    if table.url_file is not None:
        from afterfill.sinks.notify.push import deliveries_in

        return deliveries_in(table.url_file)
    return []
