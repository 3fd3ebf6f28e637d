"""What an alarm says: what was measured, and what it can mean. It names no single cause."""

from __future__ import annotations

from collections.abc import Callable, Mapping

Say = Callable[[float], str]

CAN_BE = {
    "power_lost": "A power cut, a breaker, the controller switched off, or a programme that ended.",
    "stuck_off": "A relay that stays open, a broken wire or fuse, or a power meter that is dead.",
    "falling": "A lid or door that is open, a relay that stays open, broken elements, a breaker, "
    "or a programme that ended before its top.",
    "stalled": "A broken or worn element, low mains voltage, a heavy load, or a hold that the "
    "schedule here does not know of.",
    "off_set_point": "A broken or worn element, low mains voltage, or a programme faster than the "
    "kiln.",
    "low_power": "A broken element, a relay that stays open, or low mains voltage.",
    "overshoot": "A relay that stays closed, a thermocouple out of its place, or a programme "
    "other than the one written here.",
    "stuck_on": "A relay that stays closed: then the controller cannot stop the heat.",
    "sensor": "A thermocouple that is broken, loose or out of its place, or a zone that does not "
    "heat.",
    "late": "Worn elements, a heavy load, a hold added at the kiln, or a delayed start.",
    "room": "A vent that is off, a closed door, or a hot day.",
    "control_box": "A fan that stands still, a relay or a joint that burns, or too hot a room.",
    "no_data": "The logger, its network or its power, or a power cut of the whole room.",
}
# Of these a person should hear in words that leave no doubt: they can hurt, or end in fire.
DANGEROUS = frozenset({"overshoot", "stuck_on", "room", "control_box"})


def sentence_of(kind: str, evidence: Mapping[str, float], heat: Say, rate: Say) -> str:
    """Return what was measured, as one sentence. `heat` says a temperature in C, `rate` C/h."""
    temp_c = evidence.get("temp_c", 0.0)
    teller = _TELLERS.get(kind)
    if teller is None:
        raise ValueError(f"kind {kind!r} is no kind of alarm")
    return teller(evidence, heat(temp_c), heat, rate)


def _no_heat(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    if "was_c" in seen:
        return f"After a silence {now} was measured; before it, {heat(seen['was_c'])}."
    peak = heat(seen.get("peak_c", 0.0))
    asks = f"; the controller asks for {_percent(seen['duty'])}" if "duty" in seen else ""
    draws = f" and {_percent(seen['draw'])} of the rated power is drawn" if "draw" in seen else ""
    falls = (
        f", {rate(seen['rate_c_per_h'])} over the last minutes" if "rate_c_per_h" in seen else ""
    )
    return f"{now} was measured, after {peak}{falls}{asks}{draws}."


def _stalled(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    said = (
        f"At {now} it rises at {rate(seen['rate_c_per_h'])}; here it should be "
        f"{rate(seen['expected_c_per_h'])}"
    )
    if "behind_c" not in seen:
        return f"{said}."
    meant = heat(seen["temp_c"] + seen["behind_c"])
    return f"{said}, and by now its schedule means it to be at {meant}."


def _off(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    if "limit_c" in seen:
        return f"{now} was measured; {heat(seen['limit_c'])} is the highest it should be."
    return f"{now} was measured; the set point is {heat(seen['set_point_c'])}."


def _low_power(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    return (
        f"At {now} the controller asks for {_percent(seen['duty'])} and "
        f"{_percent(seen['draw'])} of the rated power is drawn."
    )


def _stuck_on(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    if "draw" in seen:
        return (
            f"At {now} the controller asks for {_percent(seen['duty'])}, and "
            f"{_percent(seen['draw'])} of the rated power is drawn."
        )
    changes = rate(seen.get("rate_c_per_h", 0.0))
    if "set_point_c" in seen:
        return f"{now} was measured, above the set point of {heat(seen['set_point_c'])}: {changes}."
    if "expected_c_per_h" in seen:
        return (
            f"At {now} it rises at {changes}; the schedule wants {rate(seen['expected_c_per_h'])}."
        )
    if "limit_c" in seen:
        return f"{now} was measured, past its hold at {heat(seen['limit_c'])}: {changes}."
    return f"At {now} it changes by {changes}, as no kiln does that is not heated."


def _sensor(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    if "jump_c" in seen:
        before = heat(seen["temp_c"] - seen["jump_c"])
        return f"The reading went from about {before} to {now} within minutes."
    if "spread_c" in seen:
        return f"The zones lie apart: one differs from the {now} of the first by more than usual."
    return f"It has read {now} without a change for {seen['same_minutes']:.0f} min of a ramp."


def _late(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    so_far = _hours(seen["minutes"])
    if "class_c" in seen:
        return (
            f"After {so_far} it is at {now}; in this kiln's like firings "
            f"{heat(seen['class_c'])} was reached after {_hours(seen['usual_minutes'])}."
        )
    if "planned_minutes" in seen:
        planned = _hours(seen["planned_minutes"])
        return f"After {so_far} it is at {now}; its schedule takes {planned} to the top."
    return (
        f"It has been at its top for {so_far}, now {now}; its schedule holds it for "
        f"{_hours(seen.get('hold_minutes', 0.0))}."
    )


def _around(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    return f"{now} was measured; the limit is {heat(seen['limit_c'])}."


def _no_data(seen: Mapping[str, float], now: str, heat: Say, rate: Say) -> str:
    last = f" The last was {now}." if "temp_c" in seen else ""
    return f"For {_hours(seen['minutes'])} no reading has come.{last}"


def _percent(share: float) -> str:
    return f"{share * 100:.0f}\N{NO-BREAK SPACE}%"


def _hours(minutes: float) -> str:
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return f"{rest}\N{NO-BREAK SPACE}min"
    return f"{hours}\N{NO-BREAK SPACE}h\N{NO-BREAK SPACE}{rest:02d}\N{NO-BREAK SPACE}min"


_TELLERS: dict[str, Callable[[Mapping[str, float], str, Say, Say], str]] = {
    "power_lost": _no_heat,
    "stuck_off": _no_heat,
    "falling": _no_heat,
    "stalled": _stalled,
    "off_set_point": _off,
    "low_power": _low_power,
    "overshoot": _off,
    "stuck_on": _stuck_on,
    "sensor": _sensor,
    "late": _late,
    "room": _around,
    "control_box": _around,
    "no_data": _no_data,
}
