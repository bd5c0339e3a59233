"""Travel between places where no road network is at hand: great circles, stretched to roads."""

import numpy as np
from numpy.typing import NDArray

# Mean radius of the earth as IUGG gives it, metres.
EARTH_RADIUS_M = 6_371_008.8
# To park and walk, whatever the way. Own assumption.
LEG_S = 120.0


def estimate(
    latitude: NDArray[np.float64],
    longitude: NDArray[np.float64],
    *,
    road_factor: float = 1.3,
    speed_ms: float = 12.5,
    leg_s: float = LEG_S,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Travel seconds and metres between n places, as two n by n matrices of whole numbers.

    Degrees in, arrays of shape (n,). Each leg is the great circle times `road_factor` at `speed_ms`, with
    `leg_s` seconds to park and walk where the places differ; the same place twice costs nothing. Rough by
    its nature: meant for one town and its surroundings (some 100 km), blind to rivers, ferries and rush
    hour. Factor and speed are our own round assumptions. On a sphere, against an ellipsoid off by 0.6 %
    at most. Raises ValueError for shapes that differ, for places off the globe and for a factor below 1,
    a speed not above 0 or a negative leg.
    """
    _refuse_senseless(latitude, longitude, road_factor, speed_ms, leg_s)
    roads = road_factor * great_circle_m(latitude, longitude)
    apart = (latitude[:, None] != latitude[None, :]) | (longitude[:, None] != longitude[None, :])
    seconds = np.where(apart, roads / speed_ms + leg_s, 0.0)
    return np.rint(seconds).astype(np.int64), np.rint(roads).astype(np.int64)


def great_circle_m(latitude: NDArray[np.float64], longitude: NDArray[np.float64]) -> NDArray[np.float64]:
    """Metres between all pairs of places given in degrees, shape (n, n), by the haversine formula."""
    north, east = np.radians(latitude), np.radians(longitude)
    across = np.sin((north[:, None] - north[None, :]) / 2) ** 2
    along = np.sin((east[:, None] - east[None, :]) / 2) ** 2
    half = across + np.cos(north)[:, None] * np.cos(north)[None, :] * along
    metres: NDArray[np.float64] = 2 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0)))
    return metres


def _refuse_senseless(
    latitude: NDArray[np.float64],
    longitude: NDArray[np.float64],
    road_factor: float,
    speed_ms: float,
    leg_s: float,
) -> None:
    if latitude.ndim != 1 or latitude.shape != longitude.shape:
        raise ValueError("latitude and longitude must be two rows of the same length")
    if not (np.all(np.abs(latitude) <= 90) and np.all(np.abs(longitude) <= 180)):
        raise ValueError("latitude goes from -90 to 90 degrees, longitude from -180 to 180")
    if road_factor < 1 or speed_ms <= 0 or leg_s < 0:
        raise ValueError("road_factor must be 1 or more, speed above 0, leg_s not negative")
