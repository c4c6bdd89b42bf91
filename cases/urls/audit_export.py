"""The audit taken along, and who gets its mail."""

from django.urls import path

from cases.views import audit_digest, audit_export

urlpatterns = [
    path("audit/export/<str:table>.csv", audit_export.export, name="audit_export"),
    path("audit/report.pdf", audit_export.report_document, name="audit_report_pdf"),
    path(
        "audit/digest-mail/<str:key>/",
        audit_digest.digest_mail,
        name="audit_digest_mail",
    ),
]
