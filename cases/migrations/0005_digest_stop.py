"""Who wants no mail of the monthly digest."""

import django.db.models.deletion
from django.db import migrations, models

from cases.migrations._0001_guards import _own
from cases.migrations._0001_security import _ORG, _policy

# A person's choice: made and taken back by the membership it is about.
_MINE = (
    f"{_ORG} AND membership_id ="
    " nullif(current_setting('app.membership', true), '')::bigint"
)
SQL = "\n".join(
    [
        _policy(
            "cases_auditdigeststop",
            _ORG,
            f"{_MINE} AND {_own('membership_id')}",
            _MINE,
            "SELECT, INSERT, DELETE",
        ),
        "GRANT SELECT, INSERT, UPDATE, DELETE ON cases_auditdigeststop"
        " TO chairbench_maintenance;",
    ]
)


class Migration(migrations.Migration):
    dependencies = [("cases", "0004_audit")]

    operations = [
        migrations.CreateModel(
            name="AuditDigestStop",
            fields=[
                (
                    "membership",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        related_name="+",
                        serialize=False,
                        to="cases.membership",
                    ),
                ),
                ("stopped_at", models.DateTimeField()),
                (
                    "organisation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="cases.organisation",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(SQL, migrations.RunSQL.noop),
    ]
