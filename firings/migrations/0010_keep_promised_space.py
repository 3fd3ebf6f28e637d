"""What has space in a firing that is not started was promised it, as far as anybody knows."""

from django.db import migrations


def keep_promises(apps, schema_editor):
    bookings = apps.get_model("firings", "Booking").objects
    bookings.filter(
        state__in=["waiting", "placed"],
        firing__state__in=["planned", "open", "loading"],
    ).update(is_promised=True)


class Migration(migrations.Migration):
    dependencies = [("firings", "0009_promise_space_in_loads")]

    # Undone by dropping the column, in the migration before.
    operations = [migrations.RunPython(keep_promises, migrations.RunPython.noop)]
