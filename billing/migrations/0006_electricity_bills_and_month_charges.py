"""Utility bills, and the fixed and demand charges of a month with their shares."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("billing", "0005_bank_line_refusals"),
        ("studio", "0001_initial"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        migrations.CreateModel(
            name="MonthCharges",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("month", models.DateField()),
                ("total_minor", models.BigIntegerField()),
                ("studio_minor", models.BigIntegerField(default=0)),
                ("studio_parts", models.JSONField(default=list)),
                ("made_at", models.DateTimeField()),
                ("reversed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "entry",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="month_charges",
                        to="billing.journalentry",
                    ),
                ),
                (
                    "made_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "month charges",
                "ordering": ["-month", "-pk"],
            },
        ),
        migrations.CreateModel(
            name="MonthChargeLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[("fixed", "Fixed charge"), ("demand", "Demand charge")],
                        max_length=6,
                    ),
                ),
                ("text", models.CharField(max_length=120)),
                ("amount_minor", models.BigIntegerField()),
                ("working", models.JSONField(default=dict)),
                (
                    "tariff",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="month_charge_lines",
                        to="billing.tariffversion",
                    ),
                ),
                (
                    "charges",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="lines",
                        to="billing.monthcharges",
                    ),
                ),
            ],
            options={
                "ordering": ["pk"],
            },
        ),
        migrations.CreateModel(
            name="MonthChargeShare",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("amount_minor", models.BigIntegerField()),
                ("working", models.JSONField(default=dict)),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="month_charge_shares",
                        to="studio.account",
                    ),
                ),
                (
                    "charges",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="shares",
                        to="billing.monthcharges",
                    ),
                ),
            ],
            options={
                "ordering": ["account__number"],
            },
        ),
        migrations.CreateModel(
            name="UtilityBill",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("first_day", models.DateField()),
                ("last_day", models.DateField()),
                ("billed_on", models.DateField()),
                ("energy_wh", models.PositiveBigIntegerField()),
                ("amount_minor", models.BigIntegerField()),
                ("tax_minor", models.BigIntegerField(default=0)),
                ("reference", models.CharField(blank=True, max_length=80)),
                (
                    "settlement",
                    models.CharField(
                        choices=[("bank", "From the bank account"), ("later", "Not paid yet")],
                        max_length=5,
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("reversed_at", models.DateTimeField(blank=True, null=True)),
                (
                    "entry",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="utility_bill",
                        to="billing.journalentry",
                    ),
                ),
                (
                    "paid_entry",
                    models.OneToOneField(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="paid_utility_bill",
                        to="billing.journalentry",
                    ),
                ),
                (
                    "recorded_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ["-first_day", "-pk"],
            },
        ),
        migrations.AddConstraint(
            model_name="monthcharges",
            constraint=models.UniqueConstraint(
                condition=models.Q(("reversed_at", None)),
                fields=("month",),
                name="charges_of_a_month_are_shared_once",
                violation_error_message="The charges of this month are shared already.",
            ),
        ),
        migrations.AddConstraint(
            model_name="monthcharges",
            constraint=models.CheckConstraint(
                condition=models.Q(("month__day", 1)),
                name="charges_are_named_by_the_first_of_their_month",
            ),
        ),
        migrations.AddConstraint(
            model_name="monthchargeshare",
            constraint=models.UniqueConstraint(
                fields=("charges", "account"), name="one_charge_share_per_account"
            ),
        ),
        migrations.AddConstraint(
            model_name="utilitybill",
            constraint=models.CheckConstraint(
                condition=models.Q(("last_day__gte", models.F("first_day"))),
                name="bill_runs_forward",
                violation_error_message="The last day of a bill lies before its first.",
            ),
        ),
        migrations.AddConstraint(
            model_name="utilitybill",
            constraint=models.CheckConstraint(
                condition=models.Q(("amount_minor__gt", 0)), name="bill_asks_for_something"
            ),
        ),
        migrations.AddConstraint(
            model_name="utilitybill",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("tax_minor__gte", 0), ("tax_minor__lte", models.F("amount_minor"))
                ),
                name="tax_is_part_of_its_bill",
                violation_error_message="The taxes of a bill are part of its amount.",
            ),
        ),
        migrations.AddConstraint(
            model_name="utilitybill",
            constraint=models.CheckConstraint(
                condition=models.Q(("settlement", "later"), ("paid_entry", None), _connector="OR"),
                name="bill_is_paid_once",
                violation_error_message="A bill that was paid at once is not paid again.",
            ),
        ),
    ]
