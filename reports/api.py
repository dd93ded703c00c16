"""Documents and deliveries, read only: they are made and sent by actions."""

from reports import models
from sites.access import EVERYONE, OFFICE
from sites.api.base import ReadViewSet, RowSerializer


class DocumentSerializer(RowSerializer):
    """What is known about a PDF; the file itself comes from the page `reports:document`."""

    class Meta:
        model = models.Document
        exclude = ["pdf"]


class DocumentViewSet(ReadViewSet):
    queryset = models.Document.objects.all()
    serializer_class = DocumentSerializer
    open_to = {"GET": EVERYONE}


class DeliverySerializer(RowSerializer):
    class Meta:
        model = models.Delivery
        fields = "__all__"


class DeliveryViewSet(ReadViewSet):
    queryset = models.Delivery.objects.all()
    serializer_class = DeliverySerializer
    open_to = {"GET": OFFICE}
    site_path = "document__site"


ENDPOINTS = {"documents": DocumentViewSet, "deliveries": DeliveryViewSet}
