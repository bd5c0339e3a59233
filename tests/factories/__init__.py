"""One minimal valid row a model; this page only hands the names on."""

from typing import Any

from factory.django import DjangoModelFactory

from tests.factories.clock import NOW, TODAY
from tests.factories.dates import (
    FleetPriorFactory,
    ForetoldFactory,
    KeptDateFactory,
    MaintenanceTaskFactory,
    NightFactory,
    NightPartFactory,
    PlanFactory,
    PolicyFactory,
    PurchaseFactory,
    SentFilterFactory,
    TaskDoneFactory,
)
from tests.factories.filters import (
    AirRecordFactory,
    DeviceFactory,
    FilterChangeFactory,
    FilterSlotFactory,
    MeanwhileFactory,
    MediaFactory,
    MediaPointFactory,
    ReadingFactory,
    RuntimeDayFactory,
    SystemFactory,
)
from tests.factories.homes import (
    AirDayFactory,
    ApiKeyFactory,
    CustomerFactory,
    DeskFactory,
    DustEpisodeFactory,
    KeptAnswerFactory,
    LifeEventFactory,
    PersonFactory,
    SiteFactory,
    SiteRoleFactory,
    StationFactory,
    UserFactory,
    WeatherDayFactory,
)
from tests.factories.messages import (
    AnswerFactory,
    CalendarEventFactory,
    FeedFactory,
    MailServerFactory,
    NoticeFactory,
    NoticeSlotFactory,
    ReplyFactory,
    RestedAddressFactory,
    RungFactory,
    WishFactory,
)
from tests.factories.visits import (
    AbsenceFactory,
    DefectFactory,
    DepotFactory,
    FieldEntryFactory,
    HomeHoursFactory,
    OfferedTimeFactory,
    PhotographFactory,
    RoundPlanFactory,
    SeasonPlanFactory,
    SeasonTripFactory,
    TagFactory,
    TechnicianFactory,
    VanTickFactory,
    VisitFactory,
    VisitJobFactory,
)


def every() -> list[type[DjangoModelFactory[Any]]]:
    """All factories that make rows."""
    return [
        value
        for value in globals().values()
        if isinstance(value, type) and issubclass(value, DjangoModelFactory) and value._meta.model
    ]


__all__ = [
    "NOW",
    "TODAY",
    "AbsenceFactory",
    "AirDayFactory",
    "AirRecordFactory",
    "AnswerFactory",
    "ApiKeyFactory",
    "CalendarEventFactory",
    "CustomerFactory",
    "DefectFactory",
    "DepotFactory",
    "DeskFactory",
    "DeviceFactory",
    "DustEpisodeFactory",
    "FeedFactory",
    "FieldEntryFactory",
    "FilterChangeFactory",
    "FilterSlotFactory",
    "FleetPriorFactory",
    "ForetoldFactory",
    "HomeHoursFactory",
    "KeptAnswerFactory",
    "KeptDateFactory",
    "LifeEventFactory",
    "MailServerFactory",
    "MaintenanceTaskFactory",
    "MeanwhileFactory",
    "MediaFactory",
    "MediaPointFactory",
    "NightFactory",
    "NightPartFactory",
    "NoticeFactory",
    "NoticeSlotFactory",
    "OfferedTimeFactory",
    "PersonFactory",
    "PhotographFactory",
    "PlanFactory",
    "PolicyFactory",
    "PurchaseFactory",
    "ReadingFactory",
    "ReplyFactory",
    "RestedAddressFactory",
    "RoundPlanFactory",
    "RungFactory",
    "RuntimeDayFactory",
    "SeasonPlanFactory",
    "SeasonTripFactory",
    "SentFilterFactory",
    "SiteFactory",
    "SiteRoleFactory",
    "StationFactory",
    "SystemFactory",
    "TagFactory",
    "TaskDoneFactory",
    "TechnicianFactory",
    "UserFactory",
    "VanTickFactory",
    "VisitFactory",
    "VisitJobFactory",
    "WeatherDayFactory",
    "WishFactory",
    "every",
]  # fmt: skip
