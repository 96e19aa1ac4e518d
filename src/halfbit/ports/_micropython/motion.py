"""Drive level and momentum of the motor. The rules are the same as in motor.c. Nothing here allocates memory."""

STEPS_28 = 0x02  # CV 29
TABLE = 0x10


def level_of(values, step, steps, forward):
    """The drive level of one step, 0 to 255. ``values``: the CVs, CV 1 first (S-9.2.2, CV 2, 5, 6 and 66 to 95)."""
    if not step:
        return 0
    spans = steps - 1
    whole = spans
    place = step - 1
    if values[28] & TABLE:
        place *= 27
        at = min(place // spans, 26)
        place -= at * spans
        level = (values[66 + at] * (spans - place) + values[67 + at] * place) * (values[65 if forward else 94] or 128)
        whole *= 128
    else:
        low = values[1]
        high = values[4] if values[4] > 1 else 255
        if values[5] > 1:
            place *= 2
            if place < spans:
                high = values[5]
            else:
                low = values[5]
                place -= spans
        level = low * (spans - place) + high * place
    return min((2 * level + whole) // (2 * whole), 255)  # rounded to the nearest


def drive_level(vehicle, step, steps, forward):
    """The same, but no more than the level of a restricted speed step (S-9.2.1 C)."""
    values = vehicle.cvs.values
    level = level_of(values, step, steps, forward)
    code = vehicle.restriction
    if code < 0:
        return level
    half = code & 15
    if half < 2:
        return 0
    if values[28] & STEPS_28:
        most = level_of(values, 2 * half - 3 + (code >> 4 & 1), 28, forward)
    else:
        most = level_of(values, half - 1, 14, forward)
    return min(level, most)


def momentum(values, rising, steps):
    """The duration of one step while the speed rises or falls, ms (S-9.2.2, CV 3, 4, 23, 24)."""
    value = values[2 if rising else 3]
    adjustment = values[22 if rising else 23]
    if adjustment & 0x80:
        value = max(value - (adjustment & 0x7F), 0)
    else:
        value = min(value + adjustment, 255)
    return (2 * value * 896 + steps) // (2 * steps)


class Motion:
    """The speed that the motor has now. It follows the requested speed step by step, see :func:`momentum`.

    To reverse, it stops first. An emergency stop and service mode stop it at once.
    """

    def __init__(self):
        self.since = 0  # time of the last step, ms
        self.step = 0
        self.steps = 28
        self.forward = 1

    def tick(self, vehicle, now):
        """Call this every few ms: returns the drive level for now, 0 (off) to 255. ``now``: ms, wraps at 2**30."""
        forward = vehicle.forward()
        requested = vehicle.step
        if vehicle.emergency or vehicle.mode:
            self.step = 0
            requested = 0
        steps = vehicle.steps
        if steps and steps != self.steps:  # nearly the same speed, in the new steps
            self.step = (self.step * steps + self.steps // 2) // self.steps
            self.steps = steps
        while True:
            if not self.step:
                self.forward = forward
            target = requested if self.forward == forward else 0
            if self.step == target:
                self.since = now
                break
            ms = momentum(vehicle.cvs.values, self.step < target, self.steps)
            if (now - self.since) & 0x3FFFFFFF < ms:
                break
            self.since = (self.since + ms) & 0x3FFFFFFF
            if not ms:
                self.step = target
            else:
                self.step += 1 if self.step < target else -1
        return drive_level(vehicle, self.step, self.steps, self.forward)
