"""Orders on paper."""

from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_safe

from inventory.models import PurchaseOrder
from shop.http import PageRequest, page_size_of, pdf_response
from shop.paper.order_paper import order_pdf as draw
from shop.services.order_paper import order_paper


@require_safe
def order_pdf(request: PageRequest, order: int) -> HttpResponse:
    """The order to send or to file; a draft says that it is one."""
    found = get_object_or_404(
        PurchaseOrder.objects.select_related("supplier", "sent_by", "drafted_by"), number=order
    )
    paper = order_paper(found, shop=request.shop, printed_at=timezone.localtime())
    return pdf_response(
        draw(paper, page_size=page_size_of(request)),
        name=f"order-{found.number}",
    )
