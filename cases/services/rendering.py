"""Remember the document of a work order once the worker has made it."""

from datetime import datetime

from cases.models import WorkOrder

__all__ = ["work_order_rendered"]


def work_order_rendered(
    *, order: WorkOrder, storage_key: str, pdf_sha256: str, at: datetime
) -> None:
    """Store where the document is and its digest; the content stays frozen."""
    order.storage_key = storage_key
    order.pdf_sha256 = pdf_sha256
    order.rendered_at = at
    order.save(update_fields=["storage_key", "pdf_sha256", "rendered_at"])
