"""Published rule sets."""

from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = []

    operations = [
        migrations.CreateModel(
            name="RuleSetVersion",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True,
                        primary_key=True,
                        serialize=False,
                        verbose_name="ID",
                    ),
                ),
                (
                    "digest",
                    models.CharField(editable=False, max_length=64, unique=True),
                ),
                ("name", models.CharField(editable=False, max_length=80)),
                ("version", models.CharField(editable=False, max_length=40)),
                ("payload", models.JSONField(editable=False)),
                ("effective_from", models.DateField(editable=False, null=True)),
                ("published_at", models.DateTimeField(editable=False)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(digest__regex="^[0-9a-f]{64}$"),
                        name="rules_rulesetversion_digest_is_sha256",
                    )
                ],
            },
        ),
    ]
