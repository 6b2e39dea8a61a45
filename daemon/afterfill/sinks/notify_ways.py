"""From a [[notify]] table to its recipients."""

from collections.abc import Sequence

from afterfill.config import Notify
from afterfill.sinks.notify_letter import Post


def posts_of(table: Notify) -> Sequence[Post]:
    """The recipients: one for each address in `url_file`, or one mail; none for a heartbeat alone.

    Raises SinkUnavailable with one sentence when they cannot be had; nothing is sent.
    """
    if table.smtp is not None:
        from afterfill.sinks.notify_mail import MailPost

        return [MailPost(table.smtp)]
    if table.url_file is not None:
        from afterfill.sinks.notify_push import posts_in

        return posts_in(table.url_file)
    return []
