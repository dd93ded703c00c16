"""Visits, measurements and faults as endpoints. Writes go through the same actions as the pages."""

import datetime as dt
from typing import Any

from django.core.exceptions import ValidationError
from django.utils import timezone
from rest_framework import serializers, status
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from jobs import models
from jobs.actions import faults, field
from sites.access import EVERYONE, OFFICE, STAFF, visible_or_404
from sites.api.base import ReadViewSet, RowSerializer, RowViewSet, rows_of, serializer_of
from sites.core.told import told
from sites.models import Firm, Role, Site, Valve


def refuse(error: ValidationError) -> serializers.ValidationError:
    """A rule's words as a 400 answer, beside the field where the rule names one."""
    return serializers.ValidationError(error.message_dict if hasattr(error, "error_dict") else error.messages)


CLOCK_AHEAD = dt.timedelta(minutes=10)  # so far a sender's clock may run before ours


def not_to_come(moment: dt.datetime) -> dt.datetime:
    """A moment of the past. One far ahead would stay the newest for ever, and the newest counts."""
    if moment > timezone.now() + CLOCK_AHEAD:
        raise serializers.ValidationError("This moment has not come yet.")
    return moment


class ReasonField(serializers.CharField):
    """What the dates are based on, in the firm's units."""

    def to_representation(self, value: str) -> str:
        return told(value, Firm.current().units)


class SeasonWindowSerializer(RowSerializer):
    reason = ReasonField(max_length=300, required=False, allow_blank=True)

    class Meta:
        model = models.SeasonWindow
        fields = "__all__"


class SeasonWindowViewSet(RowViewSet):
    queryset = models.SeasonWindow.objects.all()
    serializer_class = SeasonWindowSerializer
    open_to = {**RowViewSet.open_to, "GET": OFFICE}
    site_path = None


class VisitSerializer(RowSerializer):
    window_reason = ReasonField(read_only=True)
    # The reason of the dates holds the office's own note about the site.
    hidden_from = {
        Role.CLIENT: ("instructions", "technician_notes", "own_dates", "window_reason", "skills"),
        Role.TECHNICIAN: ("own_dates", "window_reason"),
    }

    class Meta:
        model = models.Visit
        fields = "__all__"


class VisitViewSet(ReadViewSet):
    """Visits are read and started here; they are planned and finished on their pages."""

    queryset = models.Visit.objects.all()
    serializer_class = VisitSerializer
    open_to = {"GET": EVERYONE, "POST": STAFF}

    @action(detail=True, methods=["post"])
    def start(self, request: Request, pk: str) -> Response:
        """Begin a visit; beginning it again changes nothing."""
        try:
            visit = field.start_visit(visit=self.get_object(), by=request.user)
        except ValidationError as error:
            raise refuse(error) from error
        return Response(self.get_serializer(visit).data)


class ValveMeasurementSerializer(RowSerializer):
    may_come_again = ("uuid",)
    uuid = serializers.UUIDField(help_text="Minted by the sender; the same one again adds nothing.")

    class Meta:
        model = models.ValveMeasurement
        fields = "__all__"
        read_only_fields = ["measured_by"]

    def validate_measured_at(self, moment: dt.datetime) -> dt.datetime:
        return not_to_come(moment)


class ValveMeasurementViewSet(ReadViewSet):
    """What was measured at valves. Append only: 201 for a new row, 200 for a uuid that is known already."""

    queryset = models.ValveMeasurement.objects.all()
    serializer_class = ValveMeasurementSerializer
    open_to = {"GET": STAFF, "POST": STAFF}
    site_path = "visit__site"

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        entry = self.get_serializer(data=request.data)
        entry.is_valid(raise_exception=True)
        values = dict(entry.validated_data)
        visit = visible_or_404(models.Visit.objects.all(), request.user, pk=values.pop("visit").pk)
        valve = visible_or_404(Valve.objects.all(), request.user, pk=values.pop("valve").pk)
        uuid = values.pop("uuid")
        known = models.ValveMeasurement.objects.filter(uuid=uuid).exists()
        measured_at = values.pop("measured_at")
        try:
            row = field.record_measurement(
                visit=visit, valve=valve, values=values, by=request.user, uuid=uuid, measured_at=measured_at
            )
        except ValidationError as error:
            raise refuse(error) from error
        code = status.HTTP_200_OK if known else status.HTTP_201_CREATED
        return Response(self.get_serializer(row).data, status=code)


FaultSerializer = serializer_of(models.Fault)


class FaultReportSerializer(serializers.ModelSerializer):
    """A fault as it is reported; pictures are added on the page."""

    uuid = serializers.UUIDField(help_text="Minted by the sender; the same one again adds nothing.")

    class Meta:
        model = models.Fault
        fields = [
            "uuid", "site", "found_on_visit", "valve", "zone", "controller", "supply", "kind", "severity",
            "description", "part_needed", "found_at",
        ]  # fmt: skip

    def validate_found_at(self, moment: dt.datetime) -> dt.datetime:
        return not_to_come(moment)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if sum(attrs.get(name) is not None for name in ("valve", "zone", "controller", "supply")) > 1:
            raise serializers.ValidationError("Name one place: a valve, a zone, a controller or a supply.")
        return attrs


class FaultViewSet(ReadViewSet):
    queryset = models.Fault.objects.all()
    serializer_class = FaultSerializer
    open_to = {"GET": STAFF, "POST": STAFF}

    def get_serializer_class(self) -> type[serializers.BaseSerializer]:
        return FaultReportSerializer if self.action == "create" else FaultSerializer

    def create(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        entry = self.get_serializer(data=request.data)
        entry.is_valid(raise_exception=True)
        values = entry.validated_data
        visible_or_404(Site.objects.all(), request.user, pk=values["site"].pk)
        visit = values.get("found_on_visit")
        if visit is not None:
            visible_or_404(models.Visit.objects.all(), request.user, pk=visit.pk)
        known = models.Fault.objects.filter(uuid=values["uuid"]).exists()
        try:
            row, _ = faults.record_fault(fault=models.Fault(**values), by=request.user)
        except ValidationError as error:
            raise refuse(error) from error
        shown = FaultSerializer(row, context=self.get_serializer_context())
        return Response(shown.data, status=status.HTTP_200_OK if known else status.HTTP_201_CREATED)


class ProposalLineSerializer(serializers.ModelSerializer):
    amount = serializers.DecimalField(max_digits=20, decimal_places=2, read_only=True)

    class Meta:
        model = models.ProposalLine
        fields = ["position", "item", "text", "quantity", "unit", "unit_price", "amount", "fault"]


class ProposalSerializer(RowSerializer):
    lines = ProposalLineSerializer(many=True, read_only=True)
    total = serializers.DecimalField(max_digits=20, decimal_places=2, read_only=True)

    class Meta:
        model = models.Proposal
        fields = "__all__"


class ProposalViewSet(ReadViewSet):
    """Proposals are read here; they are written, sent and answered on their pages."""

    queryset = models.Proposal.objects.prefetch_related("lines")
    serializer_class = ProposalSerializer
    open_to = {"GET": OFFICE}


class WorkPartSerializer(serializers.ModelSerializer):
    amount = serializers.DecimalField(max_digits=20, decimal_places=2, read_only=True)

    class Meta:
        model = models.WorkPart
        fields = ["position", "item", "text", "quantity", "unit", "unit_price", "amount"]


class WorkRecordSerializer(RowSerializer):
    parts = WorkPartSerializer(many=True, read_only=True)
    labour_amount = serializers.DecimalField(max_digits=20, decimal_places=2, read_only=True)
    total = serializers.DecimalField(max_digits=20, decimal_places=2, read_only=True)

    class Meta:
        model = models.WorkRecord
        fields = "__all__"


class WorkRecordViewSet(ReadViewSet):
    """Work time and parts with their prices, for the office's billing."""

    queryset = models.WorkRecord.objects.prefetch_related("parts")
    serializer_class = WorkRecordSerializer
    open_to = {"GET": OFFICE}
    site_path = "visit__site"


ENDPOINTS = {
    "price-items": rows_of(
        models.PriceItem,
        site_path=None,
        read_by=OFFICE,
        about="The price list. An item that a line was written with is not deleted: take it out of use by `active`.",
    ),
    "proposals": ProposalViewSet,
    "work-records": WorkRecordViewSet,
    "service-plans": rows_of(models.ServicePlan, read_by=OFFICE),
    "season-windows": SeasonWindowViewSet,
    "visits": VisitViewSet,
    "measurements": ValveMeasurementViewSet,
    "faults": FaultViewSet,
}
