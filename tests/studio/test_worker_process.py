"""A task goes through the real broker to a real worker, which sees the test's database."""

from datetime import UTC, datetime

from studio.models import Notice
from studio.tasks import deliver_due_notices
from tests.waiting import until


def test_a_worker_delivers_what_the_test_wrote(celery_worker_process):
    long_ago = datetime(2026, 1, 1, tzinfo=UTC)
    notice = Notice.objects.create(
        key="worker", message_id="<worker@test>", kind="no-such", address="a@example.org",
        due_at=long_ago, written_at=long_ago,
    )  # fmt: skip
    deliver_due_notices.delay()
    until(lambda: Notice.objects.get(pk=notice.pk).attempts > 0 or changed(notice))


def changed(notice: Notice) -> bool:
    return Notice.objects.get(pk=notice.pk).state != notice.state
