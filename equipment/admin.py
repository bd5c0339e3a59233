"""The record, row by row. Nothing that has a history can be deleted here."""

from typing import Any

from django.contrib import admin
from django.contrib.auth.admin import UserAdmin
from django.http import HttpRequest
from django.utils import timezone
from simple_history.admin import SimpleHistoryAdmin

from equipment import models, runtime_trace, weather_trace
from equipment.access import signed_in
from equipment.dust import stamp_episode
from equipment.fan_log import fan_log
from equipment.record import stamp, stamp_site
from shared import clock


class KeptAdmin(SimpleHistoryAdmin):  # type: ignore[misc]
    """Rows are changed with their history kept, and never deleted."""

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


class PointInline(admin.TabularInline):  # type: ignore[type-arg]
    """The label's points beside their medium."""

    model = models.MediaPoint
    extra = 1


class RoleInline(admin.TabularInline):  # type: ignore[type-arg]
    """Who is what at a site."""

    model = models.SiteRole
    extra = 0
    autocomplete_fields = ("person",)


@admin.register(models.Media)
class MediaAdmin(KeptAdmin):
    """Filter media with their label points."""

    list_display = ("name", "nominal_size", "merv", "kind", "price", "on_hand")
    list_filter = ("kind", "merv")
    search_fields = ("name", "nominal_size")
    inlines = (PointInline,)

    def save_related(self, request: HttpRequest, form: Any, formsets: Any, change: bool) -> None:
        """A label's points are facts of every slot that the medium sits in."""
        super().save_related(request, form, formsets, change)
        slots = models.FilterSlot.objects.filter(
            first_media=form.instance
        ) | models.FilterSlot.objects.filter(changes__media=form.instance)
        for slot in slots.distinct():
            stamp(slot, timezone.now())


@admin.register(models.Site)
class SiteAdmin(KeptAdmin):
    """Homes with their people."""

    list_display = ("name", "customer", "street", "city", "station", "vacant_since")
    list_filter = ("city",)
    search_fields = ("name", "street", "city", "customer__name")
    inlines = (RoleInline,)
    raw_id_fields = ("customer", "station")

    def save_model(self, request: HttpRequest, obj: models.Site, form: Any, change: bool) -> None:
        """Household and station are facts of its slots."""
        super().save_model(request, obj, form, change)
        stamp_site(obj.pk, timezone.now())


@admin.register(models.System)
class SystemAdmin(KeptAdmin):
    """Systems."""

    list_display = ("name", "site", "kind", "blower", "replaced_on")
    list_filter = ("kind", "blower")
    search_fields = ("name", "site__name")
    raw_id_fields = ("site", "replaced_by")

    def save_model(self, request: HttpRequest, obj: models.System, form: Any, change: bool) -> None:
        """Airflow and statics are facts of its slots."""
        super().save_model(request, obj, form, change)
        stamp_site(obj.site_id, timezone.now())


@admin.register(models.FilterSlot)
class FilterSlotAdmin(KeptAdmin):
    """Filter slots."""

    list_display = ("name", "system", "nominal_size", "location", "changed_by", "retired_on")
    list_filter = ("nominal_size", "changed_by")
    search_fields = ("name", "location", "system__name")
    raw_id_fields = ("system", "first_media")
    exclude = ("facts_changed_at",)

    def save_model(self, request: HttpRequest, obj: models.FilterSlot, form: Any, change: bool) -> None:
        """Stamp the slot with the time of its change."""
        obj.facts_changed_at = timezone.now()
        super().save_model(request, obj, form, change)


class FactAdmin(KeptAdmin):
    """A fact about one slot."""

    raw_id_fields: tuple[str, ...] = ("slot",)

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Stamp the slot that the fact speaks of."""
        super().save_model(request, obj, form, change)
        stamp(obj.slot, timezone.now())


@admin.register(models.Reading)
class ReadingAdmin(FactAdmin):
    """Readings."""

    list_display = ("slot", "taken_at", "filter_drop_pa", "airflow_m3s")
    search_fields = ("slot__name",)
    date_hierarchy = "taken_at"


@admin.register(models.Meanwhile)
class MeanwhileAdmin(FactAdmin):
    """Filters for a while."""

    list_display = ("slot", "media", "begins_on", "look_on", "ends_on", "ended_on")
    raw_id_fields = ("slot", "media")


@admin.register(models.FilterChange)
class FilterChangeAdmin(FactAdmin):
    """Filter changes."""

    list_display = ("slot", "changed_on", "media", "told", "undone_at")
    search_fields = ("slot__name",)
    date_hierarchy = "changed_on"
    raw_id_fields = ("slot", "media")


@admin.register(models.Customer)
class CustomerAdmin(KeptAdmin):
    """Customers."""

    list_display = ("name", "gone_on")
    search_fields = ("name",)


@admin.register(models.Person)
class PersonAdmin(KeptAdmin):
    """People."""

    list_display = ("name", "email", "phone", "language", "wants_filter_mail")
    search_fields = ("name", "email", "phone")


@admin.register(models.AirRecord)
class AirRecordAdmin(KeptAdmin):
    """Air-side records; a correction here does not reach the system's own figures."""

    list_display = ("system", "measured_at", "airflow_m3s", "return_static_pa", "supply_static_pa")
    search_fields = ("system__name",)
    raw_id_fields = ("system",)
    date_hierarchy = "measured_at"


class PlainAdmin(admin.ModelAdmin):  # type: ignore[type-arg]
    """Rows without a history of their own, never deleted here either."""

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


@admin.register(models.RuntimeDay)
class RuntimeDayAdmin(PlainAdmin):
    """Fan hours."""

    list_display = ("system", "day", "fan_hours")
    raw_id_fields = ("system",)
    date_hierarchy = "day"

    def save_model(self, request: HttpRequest, obj: models.RuntimeDay, form: Any, change: bool) -> None:
        """Hours are facts of the system's slots; what they were before stays."""
        days = models.RuntimeDay.objects.filter(pk=obj.pk)
        was = set(days.values_list("system", "day", "fan_hours"))
        # A day that was folded counts until it has a row again.
        log = fan_log([obj.system_id], obj.day, since=obj.day).by_day()
        was |= {(system, day, hours) for (system, day), hours in log.items()}
        over = sorted(was - {(obj.system_id, obj.day, obj.fan_hours)})
        runtime_trace.note(over, signed_in(request).get_username(), timezone.now())
        super().save_model(request, obj, form, change)
        stamp_site(obj.system.site_id, timezone.now())


class BeforeAdmin(PlainAdmin):
    """What was written over, to be read."""

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Nobody may."""
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Nobody may."""
        return False


@admin.register(models.RuntimeBefore)
class RuntimeBeforeAdmin(BeforeAdmin):
    """What fan hours were."""

    list_display = ("system", "day", "fan_hours", "at", "source")


@admin.register(models.WeatherBefore)
class WeatherBeforeAdmin(BeforeAdmin):
    """What weather and air were."""

    list_display = ("station", "day", "figure", "value", "at", "source")


def _note_weather(request: HttpRequest, figure: str, over: list[weather_trace.Before]) -> None:
    weather_trace.note(figure, over, signed_in(request).get_username(), timezone.now())


@admin.register(models.WeatherDay)
class WeatherDayAdmin(PlainAdmin):
    """Weather."""

    list_display = ("station", "day", "mean_temp_c")
    raw_id_fields = ("station",)
    date_hierarchy = "day"

    def save_model(self, request: HttpRequest, obj: models.WeatherDay, form: Any, change: bool) -> None:
        """Mark the station's weather as changed; what it was stays."""
        was = set(models.WeatherDay.objects.filter(pk=obj.pk).values_list("station", "day", "mean_temp_c"))
        over = sorted(was - {(obj.station_id, obj.day, obj.mean_temp_c)})
        _note_weather(request, models.WeatherBefore.Figure.TEMPERATURE, over)
        super().save_model(request, obj, form, change)
        models.Station.objects.filter(pk=obj.station_id).update(weather_changed_at=timezone.now())


@admin.register(models.Station)
class StationAdmin(PlainAdmin):
    """Weather stations."""

    list_display = ("name", "latitude", "longitude")
    search_fields = ("name",)


@admin.register(models.AirDay)
class AirDayAdmin(PlainAdmin):
    """Fine dust."""

    list_display = ("station", "day", "pm25_ugm3", "hours")
    raw_id_fields = ("station",)
    date_hierarchy = "day"

    def save_model(self, request: HttpRequest, obj: models.AirDay, form: Any, change: bool) -> None:
        """Mark the station's weather as changed; its air goes with it, and what it was stays."""
        was = set(models.AirDay.objects.filter(pk=obj.pk).values_list("station", "day", "pm25_ugm3"))
        over = sorted(was - {(obj.station_id, obj.day, obj.pm25_ugm3)})
        _note_weather(request, models.WeatherBefore.Figure.FINE_DUST, over)
        super().save_model(request, obj, form, change)
        models.Station.objects.filter(pk=obj.station_id).update(weather_changed_at=timezone.now())


@admin.register(models.DustEpisode)
class DustEpisodeAdmin(KeptAdmin):
    """Dust episodes; where one is stays as it was recorded."""

    list_display = ("kind", "first_day", "last_day", "factor", "where", "ended_on", "withdrawn_at")
    list_filter = ("kind",)
    raw_id_fields = ("site", "station")
    date_hierarchy = "first_day"

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> tuple[str, ...]:
        """Who and when; and the place, once it is recorded."""
        told = ("recorded_on", "recorded_by", "closed_by")
        return (*told, "site", "station", "place") if obj else told

    def save_model(self, request: HttpRequest, obj: models.DustEpisode, form: Any, change: bool) -> None:
        """Dust is a fact of the slots of its homes."""
        if not change:
            obj.recorded_on = clock.local_day(timezone.now(), models.Desk.the().zone)
            obj.recorded_by = signed_in(request)
        super().save_model(request, obj, form, change)
        stamp_episode(obj, timezone.now())


@admin.register(models.LifeEvent)
class LifeEventAdmin(PlainAdmin):
    """Life events."""

    list_display = ("on", "kind", "site")
    raw_id_fields = ("site", "system", "slot", "person", "recorded_by")


@admin.register(models.Desk)
class DeskAdmin(PlainAdmin):
    """The desk."""


@admin.register(models.User)
class DeskUserAdmin(UserAdmin):  # type: ignore[type-arg]
    """Accounts with their role."""

    list_display = ("username", "email", "role", "is_active")
    fieldsets = (*(UserAdmin.fieldsets or ()), (None, {"fields": ("role", "person", "units")}))
    raw_id_fields = ("person",)
