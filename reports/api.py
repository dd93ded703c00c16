"""Documents and deliveries, read only: they are made and sent by actions."""

from reports import models
from sites.access import EVERYONE, OFFICE
from sites.api.base import RowSerializer, RowViewSet

READ_ONLY = ["get", "head", "options"]


class DocumentSerializer(RowSerializer):
    """What is known about a PDF; the file itself comes from the page `reports:document`."""

    class Meta:
        model = models.Document
        exclude = ["pdf"]


class DocumentViewSet(RowViewSet):
    queryset = models.Document.objects.all()
    serializer_class = DocumentSerializer
    open_to = {"GET": EVERYONE}
    http_method_names = READ_ONLY


class DeliverySerializer(RowSerializer):
    class Meta:
        model = models.Delivery
        fields = "__all__"


class DeliveryViewSet(RowViewSet):
    queryset = models.Delivery.objects.all()
    serializer_class = DeliverySerializer
    open_to = {"GET": OFFICE}
    http_method_names = READ_ONLY
    site_path = "document__site"


ENDPOINTS = {"documents": DocumentViewSet, "deliveries": DeliveryViewSet}
