"""The season report as the page behind a link shows it: from what the PDF was drawn from, never recomputed."""

import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import Any

from reports.documents.words import Language
from reports.models import Document, ShareLink
from reports.queries.messages import document_words

CURVE_WIDTH, CURVE_HEIGHT = 520.0, 120.0


def token_hash(token: str) -> str:
    """What is kept of a link's token."""
    return hashlib.sha256(token.encode()).hexdigest()


def link_of_token(token: str, now: dt.datetime) -> ShareLink | None:
    """The open link a token belongs to."""
    return ShareLink.objects.open_at(now).filter(token_sha256=token_hash(token)).first()


@dataclass(frozen=True)
class Bar:
    """A row of a bar table: a name, figures as printed ("–" if not known), and lengths from 0 to 100."""

    name: str
    used: str
    last_year: str
    budget: str
    used_length: float
    last_year_length: float
    budget_at: float | None


@dataclass(frozen=True)
class WeatherCurve:
    """Points of the season curve for an SVG of CURVE_WIDTH by CURVE_HEIGHT; `bars` are (x, y, width, height)."""

    line: str
    normal: str
    bars: tuple[tuple[float, float, float, float], ...]
    labels: tuple[tuple[float, str], ...]
    scale_y: float
    scale_text: str


@dataclass(frozen=True)
class ReportPage:
    """`report` is the stored content; `zone_bars` and `month_bars` are its charts."""

    document: Document
    words: Language
    report: dict[str, Any]
    month_bars: tuple[Bar, ...]
    zone_bars: tuple[Bar, ...]
    curve: WeatherCurve | None

    @property
    def has_budget(self) -> bool:
        return any(bar.budget_at is not None for bar in (*self.month_bars, *self.zone_bars))

    @property
    def has_normals(self) -> bool:
        return any(month["et_normal"] for month in self.report["weather_months"])


def report_page(document: Document) -> ReportPage | None:
    """The page of a season report; None for a document that was made before pages were kept."""
    report = document.content
    if not report:
        return None
    zones = [{**zone, "month": f"{zone['zone']}  {zone['name']}"} for zone in report["zones"]]
    return ReportPage(
        document=document,
        words=document_words(document),
        report=report,
        month_bars=_bars(report["water_months"]),
        zone_bars=_bars(zones),
        curve=_curve(report["weather_curve"]),
    )


def _value(amount: dict[str, Any] | None) -> float:
    return amount["value"] if amount else 0.0


def _text(amount: dict[str, Any] | None) -> str:
    return amount["text"] if amount else "–"


def _bars(rows: list[dict[str, Any]]) -> tuple[Bar, ...]:
    keys = ("used", "last_year", "budget")
    most = max((_value(row[key]) for row in rows for key in keys), default=0.0) or 1.0
    return tuple(
        Bar(
            name=row["month"],
            used=_text(row["used"]),
            last_year=_text(row["last_year"]),
            budget=_text(row["budget"]),
            used_length=round(100 * _value(row["used"]) / most, 2),
            last_year_length=round(100 * _value(row["last_year"]) / most, 2),
            budget_at=round(100 * _value(row["budget"]) / most, 2) if row["budget"] else None,
        )
        for row in rows
    )


def _curve(curve: dict[str, Any] | None) -> WeatherCurve | None:
    if not curve:
        return None
    weeks, scale = curve["weeks"], curve["scale"]
    most = max([scale["value"], *[max(w["line"], w["dashed"] or 0.0, w["bar"]) for w in weeks]]) * 1.05
    step = CURVE_WIDTH / len(weeks)

    def y(value: float) -> float:
        return round(CURVE_HEIGHT * (1 - value / most), 1)

    def points(key: str) -> str:
        return " ".join(f"{(n + 0.5) * step:.1f},{y(w[key])}" for n, w in enumerate(weeks) if w[key] is not None)

    return WeatherCurve(
        line=points("line"),
        normal=points("dashed"),
        bars=tuple(
            (round((n + 0.2) * step, 1), y(w["bar"]), round(step * 0.6, 1), round(CURVE_HEIGHT - y(w["bar"]), 1))
            for n, w in enumerate(weeks)
            if w["bar"] > 0
        ),
        labels=tuple((round(n * step, 1), w["label"]) for n, w in enumerate(weeks) if w["label"]),
        scale_y=y(scale["value"]),
        scale_text=scale["text"],
    )
