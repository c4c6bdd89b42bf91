"""What the application's login may do with the tables of the other apps.

None of them holds tenant data: sessions, e-mail addresses and second factors
are read before a tenant exists and belong to one person each; rule sets are the
same for everybody.
"""

from django.db import migrations

FULL = (
    "django_session",
    "account_emailaddress",
    "account_emailconfirmation",
    "mfa_authenticator",
)
READ = ("django_content_type", "django_migrations", "auth_permission")

SQL = "\n".join(
    [f"GRANT SELECT, INSERT, UPDATE, DELETE ON {t} TO chairbench_app;" for t in FULL]
    + [f"GRANT SELECT ON {t} TO chairbench_app;" for t in READ]
    + [
        "GRANT SELECT, INSERT ON rules_rulesetversion TO chairbench_app;",
        "GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO chairbench_app;",
    ]
)


class Migration(migrations.Migration):
    dependencies = [
        ("cases", "0001_initial"),
        ("rules", "0001_initial"),
        ("account", "0009_emailaddress_unique_primary_email"),
        ("mfa", "0003_authenticator_type_uniq"),
        ("sessions", "0001_initial"),
        ("contenttypes", "0002_remove_content_type_name"),
        ("auth", "0012_alter_user_first_name_max_length"),
    ]
    operations = [migrations.RunSQL(SQL, migrations.RunSQL.noop)]
