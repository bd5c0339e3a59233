"""One noun a file; this page only hands the names on."""

from equipment.models.air_record import AirRecord
from equipment.models.api_key import ApiKey, KeptAnswer
from equipment.models.change import FilterChange
from equipment.models.customer import Customer
from equipment.models.desk import Desk
from equipment.models.device import Device
from equipment.models.dust import AirDay, DustEpisode
from equipment.models.fan_year import FanYear
from equipment.models.filter_slot import FilterSlot
from equipment.models.known_browser import KnownBrowser
from equipment.models.life_event import LifeEvent
from equipment.models.meanwhile import Meanwhile
from equipment.models.media import Media, MediaPoint
from equipment.models.person import Person, SiteRole
from equipment.models.reading import Reading
from equipment.models.runtime_before import RuntimeBefore
from equipment.models.runtime_day import RuntimeDay
from equipment.models.site import Site
from equipment.models.station import Station, WeatherDay
from equipment.models.system import System
from equipment.models.user import User
from equipment.models.weather_before import WeatherBefore

__all__ = [
    "AirDay", "AirRecord", "ApiKey", "Customer", "Desk", "Device", "DustEpisode", "FanYear",
    "FilterChange", "FilterSlot", "KeptAnswer", "KnownBrowser", "LifeEvent", "Meanwhile", "Media",
    "MediaPoint", "Person", "Reading", "RuntimeBefore", "RuntimeDay", "Site", "SiteRole", "Station",
    "System", "User", "WeatherBefore", "WeatherDay",
]  # fmt: skip
