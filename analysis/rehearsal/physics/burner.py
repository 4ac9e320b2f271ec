"""Burner sequence of a gas or oil boiler: preheat, purge, ignition, firing, post-purge, lock."""

from analysis.rehearsal.physics.compiled import compiled
from analysis.rehearsal.physics.records import (
    FIRING,
    IDLE,
    IGNITION,
    LOCK,
    LOCK_OUT,
    POST_PURGE,
    PREHEAT,
    PURGE,
    Array,
    BoilerBody,
)

PHASE, LEFT, TRIES, LEVEL, INTEGRAL, OFF_S, DRAWN, TRIPPED = 0, 1, 2, 3, 4, 5, 6, 7


@compiled
def wants_fire(
    burner: Array, body: BoilerBody, hysteresis: float, temp_c: float, target_c: float
) -> bool:
    """Decide by thermostat whether the burner should run, given whether it runs now."""
    if target_c <= 0.0:
        return False
    if temp_c > body.limit_c:
        burner[TRIPPED] = 1.0
    elif temp_c < body.limit_c - 10.0:
        burner[TRIPPED] = 0.0
    if burner[TRIPPED] > 0.0:
        return False
    band = body.hysteresis_k * hysteresis
    if burner[PHASE] == FIRING:
        return temp_c < target_c + 0.5 * band
    return temp_c < target_c - 0.5 * band


@compiled
def modulate(
    burner: Array, body: BoilerBody, temp_c: float, target_c: float, step_s: float
) -> float:
    """Level of the flame by proportional and integral action, 1 for an on/off burner."""
    if body.least >= 1.0:
        return 1.0
    error = target_c - temp_c
    burner[INTEGRAL] = min(max(burner[INTEGRAL] + 0.0008 * error * step_s, -0.6), 1.0)
    return float(min(max(0.35 + 0.05 * error + burner[INTEGRAL], body.least), 1.0))


@compiled
def _enter(
    burner: Array, phase: int, seconds: float, when_s: float, phases: Array, count: int
) -> int:
    burner[PHASE] = phase
    burner[LEFT] = seconds
    if count < phases.shape[0]:
        phases[count, 0] = when_s
        phases[count, 1] = phase
    return count + 1


@compiled
def _after(
    burner: Array,
    body: BoilerBody,
    fail: float,
    luck: Array,
    when_s: float,
    phases: Array,
    count: int,
) -> int:
    """Leave a timed phase that has run out."""
    phase = int(burner[PHASE])
    if phase == PREHEAT:
        return _enter(burner, PURGE, body.purge_s, when_s, phases, count)
    if phase == PURGE:
        return _enter(burner, IGNITION, body.ignition_s, when_s, phases, count)
    if phase == POST_PURGE:
        return _enter(burner, LOCK, body.lock_s, when_s, phases, count)
    if phase in (LOCK, LOCK_OUT):
        burner[TRIES] = 0.0
        return _enter(burner, IDLE, 0.0, when_s, phases, count)
    draw = luck[int(burner[DRAWN]) % luck.shape[0]]
    burner[DRAWN] += 1.0
    if draw >= fail:
        burner[TRIES] = 0.0
        burner[INTEGRAL] = 0.2
        return _enter(burner, FIRING, 0.0, when_s, phases, count)
    burner[TRIES] += 1.0
    if burner[TRIES] >= body.tries:
        return _enter(burner, LOCK_OUT, body.reset_s, when_s, phases, count)
    return _enter(burner, PURGE, body.purge_s, when_s, phases, count)


@compiled
def _begin(burner: Array, body: BoilerBody, when_s: float, phases: Array, count: int) -> int:
    """Answer a call for heat; a cold oil preheater takes its whole time, a warm one less."""
    if body.preheat_s > 0.0:
        cold = min(burner[OFF_S] / 1800.0, 1.0)
        return _enter(burner, PREHEAT, body.preheat_s * (0.15 + 0.85 * cold), when_s, phases, count)
    return _enter(burner, PURGE, body.purge_s, when_s, phases, count)


@compiled
def burn(
    burner: Array,
    body: BoilerBody,
    call: bool,
    supply: int,
    fail: float,
    luck: Array,
    start_s: float,
    step_s: float,
    phases: Array,
    count: int,
) -> tuple[float, int]:
    """Run the sequence through one step, changing phase at the exact second.

    Returns
    -------
    tuple
        Seconds of flame in the step, and the number of phases entered so far.
    """
    if supply == 0:
        if burner[PHASE] != IDLE:
            count = _enter(burner, IDLE, 0.0, start_s, phases, count)
        burner[OFF_S] += step_s
        return 0.0, count
    if burner[PHASE] == FIRING and not call:
        count = _enter(burner, POST_PURGE, body.post_s, start_s, phases, count)
        burner[OFF_S] = 0.0
    left = step_s
    while left > 1e-9:
        phase = int(burner[PHASE])
        if phase == FIRING:
            return left, count
        if phase == IDLE:
            if not call:
                break
            count = _begin(burner, body, start_s + step_s - left, phases, count)
            continue
        used = min(burner[LEFT], left)
        burner[LEFT] -= used
        left -= used
        if burner[LEFT] <= 1e-9:
            count = _after(burner, body, fail, luck, start_s + step_s - left, phases, count)
    burner[OFF_S] += step_s
    return 0.0, count
