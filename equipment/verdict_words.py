"""The figures of a verdict as its sentence says them, finer than elsewhere: limits turn on last digits."""

from dataclasses import dataclass

from shared.units import M3S_PER_CFM, METRE_PER_INCH, MS_PER_FPM, PA_PER_INWC, W_PER_TON

_LITRES = 1000.0


@dataclass(frozen=True, slots=True)
class Words:
    """Says SI figures in ``units``, "ip" or "si"."""

    units: str = "ip"

    @property
    def _si(self) -> bool:
        return self.units == "si"

    def pressure(self, pa: float) -> str:
        """Pa."""
        return f"{pa:.{0 if abs(pa) >= 100 else 1}f} Pa" if self._si else f"{pa / PA_PER_INWC:.3f} in. w.c."

    def airflow(self, m3s: float) -> str:
        """Cubic metres a second."""
        if self._si:
            return f"{round(m3s * _LITRES, 1):g} L/s"
        return f"{round(m3s / M3S_PER_CFM, 1):g} cfm"

    def velocity(self, ms: float) -> str:
        """Metres a second."""
        return f"{ms:.2f} m/s" if self._si else f"{round(ms / MS_PER_FPM, 1):g} fpm"

    def rate(self, m3s_a_watt: float) -> str:
        """Airflow for each W of capacity."""
        if self._si:
            return f"{m3s_a_watt * _LITRES * 1000:.1f} L/s a kW"
        return f"{m3s_a_watt * W_PER_TON / M3S_PER_CFM:.0f} cfm a ton"

    def size(self, sides_m: tuple[float, ...]) -> str:
        """Sides in metres; inches bare as on the label."""
        if self._si:
            return "x".join(f"{side * 1000:.0f}" for side in sides_m) + " mm"
        return "x".join(f"{round(side / METRE_PER_INCH, 3):g}" for side in sides_m)

    def depth(self, side_m: float) -> str:
        """One side in metres, with its unit."""
        return f"{side_m * 1000:.0f} mm" if self._si else f"{round(side_m / METRE_PER_INCH, 3):g} in"
