"""Documents and deliveries, read only: they are made and sent by actions."""

from reports import models
from sites.access import EVERYONE, OFFICE
from sites.api.base import ReadViewSet, RowSerializer, rows_of


class DocumentSerializer(RowSerializer):
    """What is known about a PDF; the file itself comes from the page `reports:document`."""

    class Meta:
        model = models.Document
        exclude = ["pdf"]


class DocumentViewSet(ReadViewSet):
    queryset = models.Document.objects.all()
    serializer_class = DocumentSerializer
    open_to = {"GET": EVERYONE}


ENDPOINTS = {
    "documents": DocumentViewSet,
    "deliveries": rows_of(models.Delivery, site_path="document__site", read_by=OFFICE, written=False),
}
