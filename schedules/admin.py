"""Plans, letters, visits and tasks, row by row."""

from typing import Any

from django.contrib import admin, messages
from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from simple_history.admin import SimpleHistoryAdmin

from schedules import due, models, tasks_due


class NoDelete(admin.ModelAdmin):  # type: ignore[type-arg]
    """Rows stay."""

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


@admin.register(models.Plan)
class PlanAdmin(NoDelete):
    """Dates as reckoned; they are made, not typed."""

    list_display = ("slot", "due_on", "reason", "p10_on", "p50_on", "p90_on", "as_of")
    list_filter = ("reason",)
    search_fields = ("slot__name",)
    date_hierarchy = "due_on"

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may: a date follows from facts."""
        return False

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Nobody may: a date follows from facts."""
        return False


@admin.register(models.FleetPrior)
class FleetPriorAdmin(NoDelete):
    """What was learned of the fleet, day by day."""

    list_display = ("day", "learned_from", "made_at")


@admin.register(models.DayResult)
class DayResultAdmin(NoDelete):
    """What was worked out once for the day; it is made, not typed."""

    list_display = ("key", "day", "made_at")

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


_RULES: tuple[tuple[Any, Any], ...] = (
    (
        gettext_lazy("When a filter comes out"),
        {
            "fields": (
                "accepted_risk", "late_days", "cap_thin_days", "cap_deep_days", "cap_washable_days",
                "shortest_days",
            ),
            "description": gettext_lazy(
                "The accepted risk is the chance that a filter is past its limit on the day told for it to "
                "come out: 0.2 is one in five. Less of it brings every date nearer and means more changes a "
                "year; more of it spares changes and leaves filters longer past their limit. The longest "
                "days hold whatever the risk."
            ),
        },
    ),
    (
        gettext_lazy("Notices, letters and calls"),
        {
            "fields": (
                "lead_days", "together_days", "follow_up_days", "call_after_days", "working_days_only",
                "send_from_hour", "send_to_hour", "text_from_hour", "text_to_hour", "visit_notice_days",
            )
        },
    ),
    (gettext_lazy("Spares, van and store"), {"fields": ("spare_level", "stock_level", "supply_days")}),
    (
        gettext_lazy("Prices"),
        {
            "fields": ("electricity_price_kwh", "change_price"),
            "description": gettext_lazy(
                "Without a price of electricity the fan's draw is not weighed against a fresh filter."
            ),
        },
    ),
    (
        gettext_lazy("Roads and stays"),
        {
            "fields": (
                "road_factor", "road_speed_ms", "slow_hours", "way_factor", "way_spread", "ways_observed",
                "stay_factor", "stay_spread", "stays_observed",
            ),
            "description": gettext_lazy(
                "Factors and scatters as observed are learned from the visits on record."
            ),
        },
    ),
)  # fmt: skip


@admin.register(models.Policy)
class PolicyAdmin(NoDelete):
    """The desk's rules; another rule means other dates for all."""

    fieldsets = _RULES

    def save_model(self, request: HttpRequest, obj: models.Policy, form: Any, change: bool) -> None:
        """Plan everything again; a large desk as its nights come to each filter."""
        super().save_model(request, obj, form, change)
        if due.is_large():
            messages.info(request, _("Dates follow by night, those of all filters within a week."))
        else:
            due.replan(timezone.now())


@admin.register(models.RoundPlan)
class RoundPlanAdmin(NoDelete):
    """Plans of rounds; they are worked out, not typed."""

    list_display = ("first_day", "last_day", "state", "asked_at", "ended_at")
    list_filter = ("state",)

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


@admin.register(models.Depot)
class DepotAdmin(NoDelete):
    """Depots."""

    list_display = ("name", "street", "latitude", "longitude", "closed_on")


@admin.register(models.Absence)
class AbsenceAdmin(NoDelete):
    """Leave, and days off for all."""

    list_display = ("technician", "first_day", "last_day", "why", "withdrawn_at")


@admin.register(models.HomeHours)
class HomeHoursAdmin(SimpleHistoryAdmin, NoDelete):  # type: ignore[misc]
    """What suits a home."""

    list_display = ("site", "weekdays", "not_before", "not_after")
    raw_id_fields = ("site",)


@admin.register(models.Technician)
class TechnicianAdmin(NoDelete):
    """Technicians."""

    list_display = ("name", "skills", "day_starts", "day_ends", "gone_on")
    raw_id_fields = ("user",)


@admin.register(models.MaintenanceTask)
class MaintenanceTaskAdmin(SimpleHistoryAdmin):  # type: ignore[misc]
    """Planned maintenance."""

    list_display = ("name", "system", "due_on", "last_done_on", "skill", "minutes")
    list_filter = ("season", "skill")
    search_fields = ("name", "system__name")
    raw_id_fields = ("system",)
    readonly_fields = ("due_on",)

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may; a task ends by its date."""
        return False

    def save_model(self, request: HttpRequest, obj: models.MaintenanceTask, form: Any, change: bool) -> None:
        """Set its due day anew."""
        super().save_model(request, obj, form, change)
        tasks_due.refresh(obj, due.today(timezone.now()))


@admin.register(models.TaskDone)
class TaskDoneAdmin(NoDelete):
    """Tasks that were done."""

    list_display = ("task", "done_on")
    raw_id_fields = ("task", "visit")


class JobInline(admin.TabularInline):  # type: ignore[type-arg]
    """A visit's jobs."""

    model = models.VisitJob
    extra = 0
    raw_id_fields = ("slot", "task")


@admin.register(models.Visit)
class VisitAdmin(SimpleHistoryAdmin):  # type: ignore[misc]
    """Visits."""

    list_display = ("site", "state", "technician", "day", "minutes")
    list_filter = ("state", "technician")
    raw_id_fields = ("site",)
    inlines = (JobInline,)
    date_hierarchy = "day"

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may; a visit is called off."""
        return False


@admin.register(models.Notice)
class NoticeAdmin(NoDelete):
    """The outbox."""

    list_display = ("key", "kind", "person", "state", "send_at", "sent_at")
    list_filter = ("state", "kind")
    raw_id_fields = ("site", "person")


@admin.register(models.Feed)
class FeedAdmin(NoDelete):
    """Calendar addresses, without their secret."""

    list_display = ("site", "created_at", "withdrawn_at")
    exclude = ("print", "seed")
    raw_id_fields = ("site",)


@admin.register(models.Rung)
class RungAdmin(NoDelete):
    """Calls that were made."""

    list_display = ("site", "at", "by", "reached", "why")
    list_filter = ("reached",)
    date_hierarchy = "at"


@admin.register(models.Wish)
class WishAdmin(NoDelete):
    """What people wanted to hear, as they said it."""

    list_display = ("person", "subject", "wanted", "at", "how", "wording")
    list_filter = ("subject", "wanted", "how")
    raw_id_fields = ("person",)
