"""Until now a share was its part of the pool and nothing else."""

from typing import Any, ClassVar

from django.db import migrations
from django.db.models import F


def note_split(apps: Any, _schema_editor: Any) -> None:
    apps.get_model("billing", "Share").objects.update(split_minor=F("amount_minor"))


class Migration(migrations.Migration):
    dependencies: ClassVar = [("billing", "0009_memberships_and_charge_steps")]

    operations: ClassVar = [migrations.RunPython(note_split, migrations.RunPython.noop)]
