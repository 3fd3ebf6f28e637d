"""Files of the bank and their lines, each line at most once a payment."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("billing", "0003_policy_has_bank_details"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="BankFile",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("name", models.CharField(max_length=120)),
                (
                    "kind",
                    models.CharField(
                        choices=[("camt053", "camt.053"), ("csv", "CSV")], max_length=7
                    ),
                ),
                ("content_hash", models.CharField(max_length=64, unique=True)),
                ("bank_accounts", models.JSONField(default=list)),
                ("warnings", models.JSONField(default=list)),
                ("lines_known_count", models.PositiveIntegerField(default=0)),
                ("taken_in_at", models.DateTimeField()),
                (
                    "taken_in_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-taken_in_at", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="BankLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("line", models.PositiveIntegerField()),
                ("booked_on", models.DateField()),
                ("amount_minor", models.BigIntegerField()),
                ("reference", models.CharField(blank=True, max_length=80)),
                ("text", models.CharField(blank=True, max_length=500)),
                ("counterparty", models.CharField(blank=True, max_length=140)),
                ("bank_id", models.CharField(max_length=64, unique=True)),
                (
                    "state",
                    models.CharField(
                        choices=[
                            ("proposed", "Waits"),
                            ("taken", "Taken as a payment"),
                            ("set_aside", "Set aside"),
                        ],
                        db_index=True,
                        default="proposed",
                        max_length=9,
                    ),
                ),
                ("times_taken", models.PositiveSmallIntegerField(default=0)),
                ("reason", models.CharField(blank=True, max_length=500)),
                (
                    "file",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="lines",
                        to="billing.bankfile",
                    ),
                ),
                (
                    "payment",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bank_line",
                        to="billing.payment",
                    ),
                ),
            ],
            options={
                "ordering": ["-booked_on", "-pk"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("amount_minor", 0), _negated=True),
                        name="bank_line_moves_something",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("payment__isnull", False), ("state", "taken")),
                            models.Q(
                                models.Q(("state", "taken"), _negated=True),
                                ("payment__isnull", True),
                            ),
                            _connector="OR",
                        ),
                        name="taken_bank_line_has_its_payment",
                        violation_error_message="A line is taken exactly when it has a payment.",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "set_aside"), _negated=True),
                            models.Q(("reason", ""), _negated=True),
                            _connector="OR",
                        ),
                        name="set_aside_bank_line_has_its_reason",
                        violation_error_message="Say why a line of the bank is set aside.",
                    ),
                ],
            },
        ),
    ]
